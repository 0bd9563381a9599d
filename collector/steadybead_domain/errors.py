"""Errors whose message is meant for the user: the place and the remedy, in one line."""


class PlainError(Exception):
    """Something the user can mend; the command line prints the message and no traceback."""
