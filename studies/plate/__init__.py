"""What is this board made of?"""
