"""Settings of the whole suite."""

from hypothesis import settings

# The same examples every time; a found one becomes an @example.
settings.register_profile("linnet", derandomize=True, deadline=None)
settings.load_profile("linnet")
