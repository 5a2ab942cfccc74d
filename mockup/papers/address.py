"""Mail addresses, as a maker writes them."""

from __future__ import annotations

import re

from ..errors import MockupError

__all__ = ["checked_mail"]


def checked_mail(mail: str) -> str:
    """An address to mail to, as it is. MockupError when it is none."""
    mail = mail.strip()
    if len(mail) > 254 or not re.fullmatch(r"[^\s@<>\"(),:;\\\[\]?&%]+@[^\s@<>\"(),:;\\\[\]?&%]+\.[^\s@<>\"(),:;\\\[\]?&%.]+", mail):
        raise MockupError(f'"{mail[:80]}" is no mail address.', fix="Write it plainly, as name@example.org.")
    return mail
