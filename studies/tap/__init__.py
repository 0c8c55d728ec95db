"""How does the guitar on the bench ring, and how should it?"""
