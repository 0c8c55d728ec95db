"""What does other air do?"""
