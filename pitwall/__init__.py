"""pitwall: a session clock and radio-call scheduler for the race engineer."""

__version__ = "0.1.0"
