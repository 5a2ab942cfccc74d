"""The client's page: all options of a scene in one HTML file to mail, opened on a phone without a server."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from ..errors import MockupError
from ..files.whole import write_whole
from ..render.colours import colours
from ..render.kept import Kept
from ..scene.values import Scene
from .address import checked_mail
from .describe import edition_words
from .share_html import Page, embedded, page_html
from .share_pictures import shots
from .share_words import offer, terms
from .sheet import MOST

__all__ = ["LIMIT", "share_page", "write_share"]

LIMIT = 8_000_000  # bytes of a page: most mail takes it
LEAST, WORDS = 500_000, 60_000


def share_page(scene: Scene, names: Sequence[str] | None = None, *, today: str, mail: str = "", limit: int = LIMIT, kept: Kept | None = None,
               report: Callable[[float], None] | None = None) -> bytes:
    """The page as UTF-8 bytes; equal arguments give equal bytes.

    names   of the variants, in the order to show; None for all of the file.
    today   the date it is made, ISO 8601; the scene's own date goes before it.
    mail    the maker's address, for the client's answer; "" for none.
    limit   the largest the page may be, bytes.
    report  hears the share done, 0..1.

    MockupError for a wrong choice of variants, an address that is none, and
    when the page cannot be made small enough; and as ``picture``.
    """
    mail = checked_mail(mail) if mail else ""
    if limit < LEAST:
        raise MockupError(f"The page may have {limit / 1e6:g} MB.", fix=f"Allow {LEAST / 1e6:g} MB or more: whole instruments need some pixels.")
    views, told, kept = _views(scene, names), report or (lambda share: None), Kept() if kept is None else kept
    found = []
    for done, view in enumerate(views, 1):
        found.append(colours(view, kept=kept))
        told(0.25 * done / len(views))
    offers = [offer(view, parts) for view, parts in zip(views, found, strict=True)]
    room = limit - embedded() - WORDS - sum(2 * len(o.text) + 6000 for o in offers)
    try:
        pictures = shots(views, max(room, 0) * 3 // 4, kept=kept, report=lambda share: told(0.25 + 0.7 * share))
    except MockupError as error:
        raise error.within(scene.file.name, joint=": ") if not any(p.where for p in error.problems) else error from None
    notes = [note for own in pictures for shot in own for note in shot.notes]
    page = Page(title=scene.title, edition=edition_words(scene, today), client=scene.client, mail=mail, offers=tuple(offers),
                shots=tuple(pictures), terms=terms(views, found, notes, kept=kept))
    data = page_html(page)
    told(1.0)
    if len(data) > limit:  # very long titles or recipes
        raise MockupError(f"The page would be {len(data) / 1e6:.1f} MB.", fix="Name fewer options, or allow a larger page.", where=scene.file.name)
    return data


def write_share(path: Path, scene: Scene, names: Sequence[str] | None = None, **how) -> int:
    """Write the page, whole or not at all; its bytes. Arguments as for ``share_page``."""
    data = share_page(scene, names, **how)
    write_whole(Path(path), data)
    return len(data)


def _views(scene: Scene, names: Sequence[str] | None) -> tuple[Scene, ...]:
    where = scene.file.name
    if names is None:
        names = [v.name for v in scene.variants]
        if not names:
            raise MockupError("The scene has no variants to choose from.", fix="Add some under [variants].", where=where)
        if len(names) > MOST:
            raise MockupError(f"The scene has {len(names)} variants; a client's page shows up to {MOST}.", fix="Name the ones to show.", where=where)
    elif not 1 <= len(names) <= MOST:
        raise MockupError(f"{len(names)} variants are named; a client's page shows up to {MOST}.", fix="Name fewer.", where=where)
    if twice := next((n for n in names if list(names).count(n) > 1), None):
        raise MockupError(f'The variant "{twice}" is named twice.', fix="Name each once.", where=where)
    return tuple(scene.with_variant(name) for name in names)
