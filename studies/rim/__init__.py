"""What do rims store and turn to heat?"""
