"""Property tests here may take their time on a busy machine."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
