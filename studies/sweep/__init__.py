"""What do hundreds of variants tell?"""
