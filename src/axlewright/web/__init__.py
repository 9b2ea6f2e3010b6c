"""Pages and their scripts; asks the other rooms, computes nothing."""

from axlewright.web.app import create_app, serve

__all__ = ["create_app", "serve"]
