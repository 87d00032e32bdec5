"""Linnet's computing: a child's line against a guide, on arrays in mm and s.

Nothing here reads a file, opens a socket, looks at a clock or knows a user.
"""

ANALYSIS_VERSION = "0.6.0"
"""Release that results are stored under; equal to the version of the distribution."""

__all__ = ["ANALYSIS_VERSION"]
