"""A client's choice as a short text: written by the client's page, read back out of a mail.

The text lies between two marks and is made to survive mails: quoting, wrapped
lines, curly quotes and longer dashes leave it readable and its check whole.
The check is CRC-32 (ISO/IEC/IEEE 8802-3, as in zlib) over letters and digits
alone, once of what was chosen and once of the client's words. It tells a
mangled text, not a forged one: that the scene is still what the client saw is
told by the fingerprint of what was seen.

``share_page/page.js`` writes the same text in the browser; a test holds the
two together.
"""

from __future__ import annotations

import datetime
import email
import email.policy
import re
import unicodedata
import zlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from ..errors import MockupError
from ..render.colours import PartColour, colours
from ..render.kept import Kept
from ..scene.values import Scene
from .record import fingerprint, input_hashes, short

__all__ = ["MOST_WORDS", "Choice", "Checked", "chosen_scene", "choice_text", "completed", "read_choice", "seen_by_client", "text_of"]

BEGIN, END = "[my choice]", "[end of my choice]"
LABELS = ("Instrument", "Revision", "Option", "Name", "Date", "Comment", "For", "Check")
NONE, OPEN = "none", "open"
MOST_NAME, MOST_WORDS = 80, 1000  # characters of the client's name and comment
LARGEST_BLOCK = 20_000            # characters between the marks
MOST_MARKS = 50
LARGEST_TEXT = 2_000_000
ASK = "Ask the client to send it again as the page makes it."
_BEGIN, _END = (re.compile(re.escape(mark).replace(r"\ ", r"\s+"), re.IGNORECASE) for mark in (BEGIN, END))


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """What a client chose, in the client's words.

    instrument, option  titles, for people; ``scene`` and ``variant`` are the names in the files.
    seen     the fingerprint of what the client saw, its first twelve digits in threes of four.
    name, date, comment  the client's; "" for a text that waits to be filled in by hand.
    checked  whether the check covers the client's words, too.
    """

    instrument: str
    revision: str
    option: str
    scene: str
    variant: str
    seen: str
    name: str = ""
    date: str = ""
    comment: str = ""
    checked: bool = True


@dataclass(frozen=True, eq=False)
class Checked:
    """A choice that fits its scene: the scene with the chosen variant in force, and what of it goes into a record."""

    scene: Scene
    choice: Choice
    kept: dict[str, Any]


# -- what the client saw -------------------------------------------------------


def seen_by_client(scene: Scene, found: Sequence[PartColour]) -> str:
    """The fingerprint of what a page shows of ``scene`` as its variant stands: 64 hexadecimal digits, made as a record's.

    It covers the recipe and all measures, the files of boards, drawings and
    stains, the revision and the colours promised. It does not cover names,
    titles and remarks, nor the other variants: those may change without the
    client having seen something else.
    """
    assert scene.variant is not None
    resolved = {k: v for k, v in scene.resolved.items() if k not in ("scene", "variant")}
    resolved["scene"] = {k: v for k, v in scene.resolved["scene"].items() if k not in ("title", "client", "date", "ground")}
    # The scene's own file holds the other variants and remarks; what it says of this one is all in ``resolved``.
    inputs = {name: digest for name, digest in input_hashes(scene).items() if scene.sources[name] != scene.file}
    return fingerprint({"kind": "mockup choice", "format": 1, "scene": scene.name, "variant": scene.variant.name, "inputs": inputs,
                        "resolved": resolved,
                        "colours": [{k: v for k, v in asdict(c).items() if k not in ("title", "wood")} for c in found]})


def chosen_scene(scene: Scene, choice: Choice, *, kept: Kept | None = None) -> Checked:
    """The scene with what the client chose in force. MockupError, one sentence, when it is not what the client saw."""
    if _core(scene.name) != _core(choice.scene):
        raise MockupError(f'The client chose from the scene "{choice.scene[:60]}", and this is "{scene.name}".', fix="Name that scene.")
    names = [v.name for v in scene.variants if _core(v.name) == _core(choice.variant)]
    if not names:
        raise MockupError(f'The client chose "{choice.variant[:60]}", and the scene has no such variant now.',
                          fix="Put it back as it was, or share the scene again and ask for a new choice.", where=scene.file.name)
    if _core(scene.revision or NONE) != _core(choice.revision):
        raise MockupError(f"The client chose from revision {choice.revision[:20]}, and the scene is at revision {scene.revision or NONE} now.",
                          fix="Share the scene again and ask for a new choice, or go back to that revision.", where=scene.file.name)
    for name in sorted(names, key=lambda n: n != choice.variant):
        view = scene.with_variant(name)
        digest = seen_by_client(view, colours(view, kept=kept))
        if _core(short(digest)) == _core(choice.seen):
            return Checked(view, choice, {"client": choice.name, "date": choice.date, "comment": choice.comment, "seen": digest,
                                          "checked": choice.checked})
    raise MockupError(f'"{choice.option[:60]}" is not what the client saw any more: its recipe, a board or a drawing changed since the page was made.',
                      fix="Share the scene again and ask for a new choice, or put it back as it was.", where=scene.file.name)


# -- writing -------------------------------------------------------------------


def choice_text(choice: Choice) -> str:
    """The text of a choice. With neither name, date nor comment it is one to be filled in by hand, its check left open for them."""
    said = [choice.instrument, choice.revision or NONE, choice.option, choice.name, choice.date, choice.comment,
            f"{choice.scene} / {choice.variant} / {choice.seen}"]
    said = [" ".join(s.split()) for s in said]
    waits = not (choice.name or choice.date or choice.comment)
    said.append(f"{_check(said[0], said[1], said[2], said[6])} {OPEN if waits else _check(*said[3:6])}")
    return "\n".join([BEGIN, *(f"{label}: {words}".rstrip() for label, words in zip(LABELS, said, strict=True)), END]) + "\n"


def _check(*fields: str) -> str:
    code = f"{zlib.crc32('|'.join(map(_core, fields)).encode()):08x}"
    return f"{code[:4]} {code[4:]}"


def _core(words: str) -> str:
    """What of a text no mail program may change: its letters, digits and accents, compatibility forms made plain."""
    plain = unicodedata.normalize("NFKC", words)
    # Variation selectors only choose between pictures of one character, and come and go on the way.
    kept = (c for c in plain if unicodedata.category(c)[0] in "LNM" and not ("\ufe00" <= c <= "\ufe0f" or "\U000e0100" <= c <= "\U000e01ef"))
    return "".join(c.lower() if c.isascii() else c for c in kept)


# -- reading -------------------------------------------------------------------


def text_of(data: bytes) -> str:
    """The words of a file that holds a choice: plain text in any usual coding, or a saved mail. MockupError when it is neither."""
    if len(data) > LARGEST_TEXT:
        raise MockupError("This is too large to be a client's choice.", fix="Save the client's mail as text.")
    if re.search(rb"(?im)^content-type:", data[:20_000]) and re.match(rb"\s*[\w-]+:", data):
        body = email.message_from_bytes(data.lstrip(), policy=email.policy.default).get_body(("plain", "html"))
        if body is not None:
            try:
                words = body.get_content()
            except (LookupError, UnicodeError):
                words = ""
            if body.get_content_subtype() == "html":
                words = _without_tags(words)
            if words:
                return words
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")


def _without_tags(html: str) -> str:
    from html import unescape

    html = re.sub(r"(?is)<(style|script|head)\b.*?</\1>", "", html)
    return unescape(re.sub(r"<[^<>]*>", "", re.sub(r"(?i)<br\b[^<>]*>|</(p|div|tr|li|h\d)>", "\n", html)))


def read_choice(text: str) -> Choice:
    """The choice that a text holds, with whatever stands before and after it.

    MockupError when there is none, it is cut off or not whole, or there are
    two that differ.
    """
    plain = "\n".join(_unquoted(line) for line in text.splitlines())
    begins, ends = ([m.span() for m in mark.finditer(plain)] for mark in (_BEGIN, _END))
    if not begins:
        raise MockupError("The text holds no choice from a client's page.",
                          fix=f"Save the client's whole mail, from {BEGIN} to {END}.")
    found: dict[Choice, None] = {}
    trouble: list[MockupError] = []
    done = -1
    for begin, first in begins[:MOST_MARKS]:
        if begin < done:  # a client's comment may hold the marks themselves
            continue
        wrong = MockupError(f"The choice is cut off: {END} is missing.", fix=ASK)
        for tried, (last, end) in enumerate([e for e in ends if first <= e[0] <= first + LARGEST_BLOCK][:MOST_MARKS]):
            try:
                found[_read_block(plain[first:last])] = None
            except MockupError as error:
                wrong = error if tried == 0 else wrong
            else:
                done, wrong = end, None
                break
        trouble += [wrong] if wrong else []
    if len(found) > 1:
        raise MockupError(f"The text holds {len(found)} different choices.", fix="Keep the one that counts and take the others out.")
    if not found:
        raise trouble[0]
    return next(iter(found))


def _unquoted(line: str) -> str:
    # Marks of direction and of no width come from mail programs; the joiners of scripts and pictures are the client's.
    line = "".join(c for c in line if c.isprintable() or c.isspace() or c in "\u200c\u200d")
    return re.sub(r"^(?:\s*[>|])+ ?", "", line).replace("\u00a0", " ").strip()


def _read_block(block: str) -> Choice:
    # Lines may have been joined into one on the way; then a label may stand anywhere.
    for start in (r"(?m:^)", r"(?:^|(?<=\s))"):
        fields = _fields(block, start)
        if fields is None:
            continue
        instrument, revision, option, name, date, comment, what, check = fields
        kinds = re.sub(r"[^0-9a-z]", "", check.lower())
        if not kinds.startswith(_check(instrument, revision, option, what).replace(" ", "")):
            continue
        waits = kinds[8:] == OPEN
        if not waits and kinds[8:] != _check(name, date, comment).replace(" ", ""):
            raise MockupError("The client's name, date or comment is not as the page wrote it.",
                              fix=f"{ASK} What the client adds belongs outside of the marks.")
        scene, variant, seen = _named(what)
        if len(name) > MOST_NAME or len(comment) > 2 * MOST_WORDS:
            raise MockupError("The client's name or comment is too long.", fix=f"A comment has {MOST_WORDS} characters at most.")
        return Choice(instrument=instrument, revision=revision, option=option, scene=scene, variant=variant, seen=seen, name=name,
                      date=_date(date), comment=comment, checked=not waits)
    raise MockupError("The choice was changed on its way, or a part of it is missing.", fix=ASK)


def _fields(block: str, start: str) -> list[str] | None:
    """The words after each label, in order; None when one is missing. The comment ends at the last "For", whatever it says."""
    at, places = 0, []
    for label in LABELS[:6]:
        match = re.compile(f"{start}{label}:").search(block, at)
        if match is None:
            return None
        places.append((match.start(), at := match.end()))
    for label in LABELS[6:]:
        matches = list(re.compile(f"{start}{label}:").finditer(block, at))
        if not matches:
            return None
        last = matches[-1]
        places.append((last.start(), at := last.end()))
    ends = [begin for begin, _ in places[1:]] + [len(block)]
    return [" ".join(block[end:stop].split()) for (_, end), stop in zip(places, ends, strict=True)]


def _named(what: str) -> tuple[str, str, str]:
    pieces = [piece.strip() for piece in what.split("/")]
    if len(pieces) != 3:
        raise MockupError("The choice was changed on its way, or a part of it is missing.", fix=ASK)
    # Longer dashes come from programs that think to better them.
    scene, variant = (re.sub("[\u2010-\u2015\u2212]", "-", piece) for piece in pieces[:2])
    return scene, variant, pieces[2]


def _date(date: str) -> str:
    """As ISO 8601; "" as it is. Written by hand it may be anything, and is then refused."""
    plain = re.sub("[\u2010-\u2015\u2212]", "-", date)
    try:
        return datetime.date.fromisoformat(plain).isoformat() if plain else ""
    except ValueError:
        raise MockupError(f'The date of the choice is "{date[:40]}".', fix="Write it as year-month-day, 2026-11-25.") from None


def completed(choice: Choice, *, name: str, today: str) -> Choice:
    """A choice whose client or date was left blank takes them from the scene and the calendar. MockupError when no name is known."""
    if not (choice.name or name):
        raise MockupError("The choice does not say who made it.", fix='Write the client\'s name after "Name:", or as client into the scene.')
    return replace(choice, name=choice.name or name, date=choice.date or today)
