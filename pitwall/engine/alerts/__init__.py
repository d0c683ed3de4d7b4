"""Alerts: conditions with a life cycle. Every alert that is held back leaves a reason."""
