"""What holds for every test."""

from hypothesis import settings

# No test asserts an absolute time: a busy machine is no fault.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
