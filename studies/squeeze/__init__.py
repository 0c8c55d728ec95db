"""Which rims can a ruler tell apart?"""
