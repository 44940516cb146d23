"""What all tests share."""

from hypothesis import settings

# how long an example takes depends on the machine and on what else it does
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
