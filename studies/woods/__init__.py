"""Which woods are held, what they are like, and where that comes from?"""
