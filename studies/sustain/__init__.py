"""How long do plucked notes last on each rim?"""
