"""``mockup approve``: the picture to sign, and its record."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import click

from ..errors import MockupError
from .output import checked_folder, note, opened, quoted, wrote
from .plain import PlainCommand, scene_argument
from .progress import progress

__all__ = ["approve"]


@click.command(cls=PlainCommand, example="mockup approve tern --variant honey --out approvals\n"
                                         "mockup approve tern --choice mail.txt --out approvals")
@scene_argument
@click.option("--variant", metavar="NAME", help="The variant that was chosen.")
@click.option("--choice", metavar="FILE|-", type=click.Path(path_type=Path),
              help='The client\'s answer from the page that "mockup share" wrote: the saved mail or its text; - reads it from the keyboard or a pipe.')
@click.option("--out", metavar="DIR", type=click.Path(path_type=Path), default=Path("."), help="Folder to write to; left out, here.")
def approve(scene: str, variant: str | None, choice: Path | None, out: Path) -> None:
    """Draw the approval of one variant: recipe, colours to meet, room to sign, and a record to check it by."""
    if variant is None and choice is None:
        raise click.UsageError("Which variant? Say --variant NAME, or --choice FILE with the answer of the client.", click.get_current_context())
    from ..papers.approval import approve as write_approval, earlier_words
    from ..papers.choice import chosen_scene, completed, read_choice, text_of
    from ..render.kept import Kept

    checked_folder(out)
    loaded = opened(scene)
    kept, checked, today = Kept(), None, date.today().isoformat()
    if choice is not None:
        where = "the text" if str(choice) == "-" else choice.name
        try:
            read = completed(read_choice(text_of(_bytes(choice))), name=loaded.client, today=today)
        except MockupError as error:
            raise error if any(p.where for p in error.problems) else error.within(where, joint=": ") from None
        checked = chosen_scene(loaded, read, kept=kept)
        if variant not in (None, checked.scene.variant.name):
            raise MockupError(f'The client chose "{checked.scene.variant.name}", not "{variant}".', fix="Leave --variant out.")
        variant = checked.scene.variant.name
    name = f"{loaded.name}.{variant}"
    with progress(f"Drawing the approval of {loaded.name}") as report:
        picture, record = write_approval(loaded, variant, out, today=today, name=name, choice=checked, kept=kept, report=report)
    wrote(picture, record)
    if earlier := earlier_words(name, picture):
        note(earlier)
    note(f"To check it later: mockup verify {quoted(record)}")


def _bytes(path: Path) -> bytes:
    from ..files.whole import read_bytes
    from ..papers.choice import LARGEST_TEXT

    if str(path) == "-":
        return sys.stdin.buffer.read(LARGEST_TEXT + 1)
    return read_bytes(path, limit=LARGEST_TEXT)
