"""What does the pull of the strings do?"""
