"""Timing from elsewhere, turned into facts. A new source is one file here that offers a ``ports.Feed``."""
