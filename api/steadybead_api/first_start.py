"""The first start: nobody can administer yet, so the server's console hands out a code for it."""

import hmac
import secrets
import threading
from collections.abc import Callable

CODE_BYTES = 9


class FirstStart:
    """Holds the code with which the first administrator is made; None once there is one.

    Only who reads the console of the machine can know it, so a stranger who finds the port first
    cannot take the shop over. `has_administrator` asks the records.
    """

    def __init__(self, has_administrator: Callable[[], bool]) -> None:
        self._has_administrator = has_administrator
        self._code = secrets.token_urlsafe(CODE_BYTES)
        self._settled = False
        self.turn = threading.Lock()

    def code(self) -> str | None:
        """Give the code while there is no administrator."""
        if not self._settled and self._has_administrator():
            self._settled = True
        return None if self._settled else self._code

    def accepts(self, code: str) -> bool:
        """Tell whether this is the code, and is still needed."""
        wanted = self.code()
        return wanted is not None and hmac.compare_digest(
            wanted.encode(), code.encode(errors="surrogatepass")
        )
