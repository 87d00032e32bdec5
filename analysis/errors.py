"""Errors of the analysis core.

::

    AnalysisError
    ├── BadTrace     samples that cannot be a trace
    ├── BadGuide     points or corridor that cannot be a guide
    └── BadOutline   a cut edge that cannot be an outline

An error means that the *input* is wrong. A measure that cannot be honestly
computed from good input is no error: it is a value with a reason code.
"""


class AnalysisError(ValueError):
    """Base of all errors raised by the analysis core.

    Attributes
    ----------
    code : str
        Stable, machine-readable name of the kind of fault.
    """

    code = "bad_input"


class BadTrace(AnalysisError):
    """Raised when samples cannot be a trace, for example columns of unequal length."""

    code = "bad_trace"


class BadGuide(AnalysisError):
    """Raised when points or corridor cannot be a guide, for example a single point."""

    code = "bad_guide"


class BadOutline(AnalysisError):
    """Raised when a digitised cut edge cannot be an outline."""

    code = "bad_outline"
