"""The client's page as one HTML file: words and pictures put into the template, everything it needs inside."""

from __future__ import annotations

import base64
import functools
import hashlib
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from string import Template
from urllib.parse import quote

from .choice import MOST_NAME, MOST_WORDS
from .face import REGULAR, SEMIBOLD, face
from .share_pictures import Shot
from .share_words import Fact, Offer, Terms

__all__ = ["Page", "embedded", "page_html"]

FOLDER = Path(__file__).resolve().parent / "share_page"
# Nothing is loaded from anywhere: pictures and typeface lie in the file, and of style and script only
# what was written here is let in, by its hash (Content Security Policy Level 3, W3C).
POLICY = "default-src 'none'; img-src data:; font-src data:; style-src '{style}'; script-src '{script}'; base-uri 'none'; form-action 'none'"
SIDES = {"front": "Front", "back": "Back"}


@dataclass(frozen=True, slots=True)
class Page:
    """All that a page says and shows; ``shots`` has the sides of each offer."""

    title: str
    edition: str
    client: str
    mail: str
    offers: tuple[Offer, ...]
    shots: tuple[tuple[Shot, ...], ...]
    terms: Terms


def page_html(page: Page) -> bytes:
    """The whole file, UTF-8."""
    patches = {p.rgb for o in page.offers for fact in o.facts for p in fact.patches}
    style = _style() + "".join(f".{_colour(rgb)}{{background:#{_hex(rgb)}}}" for rgb in sorted(patches))
    script = _asset("page.js")
    policy = POLICY.format(style=_sri(style), script=_sri(script))
    options = "\n".join(_option(page, n) for n in range(len(page.offers)))
    client = f" · For {escape(page.client)}" if page.client else ""
    first = page.offers[0].about
    return Template(_asset("page.html")).substitute(
        policy=escape(policy), style=style, script=script, title=escape(page.title), edition=escape(page.edition), client=client,
        options=options, promised=_list(page.terms.promised), vary=_list(page.terms.vary), scene=escape(first.scene),
        revision=escape(first.revision), mail=escape(page.mail), many="one" if len(page.offers) == 1 else "many", most_name=MOST_NAME,
        most_words=MOST_WORDS, sides=" ".join(shot.side for shot in page.shots[0]),
        tabs="".join(f'<button type="button" class="tab" data-at="{n}">{escape(o.title)}</button>' for n, o in enumerate(page.offers)),
        radios="".join(f'<label class="radio"><input type="radio" name="option" value="{n}"> <span>{escape(o.title)}</span></label>'
                       for n, o in enumerate(page.offers)),
        others="".join(f'<option value="{n}">{escape(o.title)}</option>' for n, o in enumerate(page.offers)),
        to=f" to {escape(page.mail)}" if page.mail else "").encode("utf-8")


def _option(page: Page, n: int) -> str:
    made, shots = page.offers[n], page.shots[n]
    figures = "".join(
        f'<figure data-side="{s.side}"><img class="light" width="{s.width}" height="{s.height}" decoding="sync" '
        f'alt="{escape(page.title)} in {escape(made.title)}, {s.side}" src="{_data("image/jpeg", s.light)}">'
        f'<img class="dark" hidden alt="" decoding="sync" width="{s.width}" height="{s.height}" src="{_data("image/webp", s.dark)}">'
        f"<figcaption>{SIDES[s.side]}</figcaption></figure>" for s in shots)
    why = f'<p class="why">{escape(made.why)}</p>' if made.why else ""
    about = made.about
    return (f'<section class="option" id="option-{n}" aria-labelledby="title-{n}" data-title="{escape(made.title)}" data-instrument="{escape(about.instrument)}" '
            f'data-variant="{escape(made.name)}" data-seen="{about.seen}">\n<h2 id="title-{n}">{escape(made.title)}</h2>\n{why}\n'
            f'<div class="shots">{figures}</div>\n'
            f'<button type="button" class="take main" data-at="{n}" hidden>Choose {escape(made.title)}</button>\n'
            f'{"".join(map(_fact, made.facts))}\n'
            f'<div class="plain"><h3>To choose {escape(made.title)}</h3><p>Copy this text into a mail{f" to {escape(page.mail)}" if page.mail else ""}, '
            f"and write your name and what you wish to say after the colons. "
            f'<a href="{escape(_mailto(page, made))}">Write it as a mail</a></p><pre>{escape(made.text)}</pre></div>\n</section>')


def _mailto(page: Page, made: Offer) -> str:
    """RFC 6068."""
    return f"mailto:{quote(page.mail, safe='@')}?subject={quote(f'My choice: {page.title}')}&body={quote(made.text.replace(chr(10), chr(13) + chr(10)))}"


def _fact(fact: Fact) -> str:
    rows = [("Wood", fact.wood), ("Finish", fact.finish), ("Sheen", fact.sheen)]
    if fact.edge:
        rows.insert(2, ("Edge", fact.edge))
    said = "".join(f"<div><dt>{label}</dt><dd>{escape(words)}</dd></div>" for label, words in rows)
    patches = "".join(f'<li><span class="patch {_colour(p.rgb)}"></span>{escape(p.label)}</li>' for p in fact.patches)
    about = f"{fact.coloured}. " if fact.coloured != fact.parts else ""
    words = f'<p class="quiet">{escape(about + fact.range)}</p>' if fact.range else ""
    return f'<div class="fact"><h3>{escape(fact.parts)}</h3><dl>{said}</dl><ul class="patches">{patches}</ul>{words}</div>'


def _list(sentences: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(s)}</li>" for s in sentences) + "</ul>"


def _hex(rgb: Sequence[int]) -> str:
    return "".join(f"{v:02x}" for v in rgb)


def _colour(rgb: Sequence[int]) -> str:
    return f"c{_hex(rgb)}"


def _data(kind: str, data: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _sri(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}"


@functools.cache
def _asset(name: str) -> str:
    # A line end of another system would not match the hash that a browser takes.
    return (FOLDER / name).read_text("utf-8").replace("\r\n", "\n")


@functools.cache
def _style() -> str:
    faces = "".join(f'@font-face{{font-family:"Mockup Sans";font-weight:{weight};src:url("{_data("font/woff", _woff(name))}") format("woff")}}'
                    for name, weight in ((REGULAR, 400), (SEMIBOLD, 600)))
    return f"{faces}\n{_asset('page.css')}"


@functools.cache
def _woff(weight: str) -> bytes:
    """The typeface packed for pages (WOFF 1.0, W3C)."""
    from fontTools.ttLib import TTFont

    font, file = TTFont(face(weight).path, recalcTimestamp=False), io.BytesIO()
    font.flavor = "woff"
    font.save(file)
    return file.getvalue()


def embedded() -> int:
    """Bytes of a page beside its words and pictures."""
    return len(_style().encode()) + sum(len(_asset(name).encode()) for name in ("page.html", "page.js"))
