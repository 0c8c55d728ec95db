"""Is the sheet right?"""
