"""Errors whose message is meant for the user: the place and the remedy, in one line."""


class PlainError(Exception):
    """Something the user can mend; the command line prints the message and no traceback."""


def one_line(text: str, longest: int = 600) -> str:
    """Keep what comes from outside from breaking a message into lines or filling the screen.

    A character that cannot be printed is written as its escape; of a long text head and tail stay.
    """
    plain = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    if len(plain) <= longest:
        return plain
    half = longest // 2
    return f"{plain[:half]} … {plain[-half:]}"
