"""The archive on the page."""
