"""Property tests draw the same examples in every run; `-m soak` series draw their own seeds."""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, database=None)
settings.load_profile("steady")
