"""What the page can ask for, without the web: plain values in, plain values and pictures out."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from ..errors import MockupError
from ..finish.reach import board_lab
from ..files.whole import write_all
from ..render.boards import rough_board
from ..render.canvas import Canvas
from ..render.colours import PartColour, colours
from ..render.layers import seen_pieces
from ..render.picture import picture, scene_box
from ..scene.library import texture, textures
from ..scene.values import Scene
from .beside import Beside
from .blobs import Blob, Blobs, jpeg, lying
from .changes import change_of
from .document import Document
from .easel import Easel, draw, encoded, read_seen, sketched
from .photos import Photos, shown
from .state import hex_of, library, plain_colour, state
from .tries import look_of, read_try, tried, with_part

__all__ = ["Bench"]

FRAMES = 16   # of the light's way there and back


@dataclass
class Bench:
    """One scene on the bench.

    document  what is worked on.
    home      the folder that copies of built-in scenes and, below it, papers go to.
    """

    document: Document
    home: Path
    easel: Easel = field(default_factory=Easel)
    photos: Photos = field(default_factory=Photos)
    _slow: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "papers"))
    _blobs: Blobs = field(default_factory=Blobs)
    _saving: threading.RLock = field(default_factory=threading.RLock)
    _labs: OrderedDict[Any, PartColour] = field(default_factory=OrderedDict)

    def __post_init__(self) -> None:
        self.beside = Beside(self.document, self.easel.kept)

    def keep(self, blob: Blob) -> str:
        """Hold bytes for the page to fetch; gives the name to fetch them by."""
        return self._blobs.keep(blob)

    def blob(self, name: str) -> Blob:
        """What is held under a name; a file only from the folder of papers."""
        return self._blobs.get(name, self.folder / "papers")

    def look(self) -> None:
        """Take up what others have changed on disk: the scene's file, and those beside it."""
        self.document.look()
        self.beside.look()

    # -- what is seen ------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        """All the page shows beside pictures."""
        return {**state(self.document, self.easel.kept, home=self.folder), **self.beside.plain()}

    @property
    def folder(self) -> Path:
        """Where papers go: beside the scene, or, for a built-in one, where its copy will lie."""
        return self.home / self.document.file.stem if self.document.builtin else self.document.file.parent

    def library(self, part: str | None) -> Future:
        """Stains, clear coats and woods to choose from."""

        def work(_: Callable[[float], None]) -> dict[str, Any]:
            try:
                scene = self.document.scene()
            except MockupError:
                scene = None
            try:
                return library(scene, self.easel.kept, part)
            except (MockupError, OSError):
                return library(None, self.easel.kept, part)  # a board that cannot be read has no colours; all else is there

        return self.easel.ask(("library", secrets.token_hex(4)), 1, work)

    def picture(self, tab: str, asked: Mapping[str, Any]) -> Future:
        """A picture of a look, as (bytes, media type); the newest wish of a name takes the place of an older one."""
        seen = read_seen(asked)
        name, exact = str(asked.get("name", "main"))[:40], bool(asked.get("exact"))
        rank = {"main": 0, "other": 1}.get(name, 3) + (1 if exact and name == "main" else 0)

        def work(report: Callable[[float], None]) -> tuple[bytes, str]:
            scene = self._asked(asked)
            if asked.get("sketch"):
                scene = sketched(scene)
            used = {p.board for p in scene.parts}
            try:
                if asked.get("rough"):
                    boards = {n: rough_board(b, seen.scale, self.easel.kept) for n, b in scene.boards.items() if n in used}
                    scene = replace(scene, boards={**scene.boards, **boards})  # of a hair less wood: what just fits is told once the hand rests
                return encoded(draw(scene, seen, self.easel.kept, report), exact=exact)
            except (MockupError, OSError):
                for name in used:
                    self.beside.board(scene.boards[name])  # was it the wood? Then that is said
                raise

        return self.easel.ask((tab, name), rank, work)

    def _asked(self, asked: Mapping[str, Any]) -> Scene:
        """The scene that a wish means: one look of it, as saved or as it stands, with what is tried in force."""
        text = self.document.saved if asked.get("as") == "saved" else None
        look = asked.get("look")
        scene = look_of(self.document.scene(text=text), None if look is None else str(look))
        for name, data in (asked.get("try") or {}).items():
            part = next((p for p in scene.parts if p.name == name), None)
            if part is not None:
                scene = with_part(scene, tried(scene, part, read_try(data), wood=False))  # the picture itself asks for the wood
        return scene

    def colour(self, tab: str, asked: Mapping[str, Any]) -> Future:
        """What a part should measure: Lab, its range and what that rests on. ``quick`` gives the mean alone, at once."""
        name = str(asked.get("part"))

        def work(report: Callable[[float], None]) -> dict[str, Any]:
            report(0.0)
            scene = self._asked(asked)
            part = next((p for p in scene.parts if p.name == name), None)
            if part is None:
                raise MockupError(f'There is no part "{name[:40]}".')
            board = self.beside.board(scene.boards[part.board])
            mean = np.array(board_lab(part.finish, board.axes))
            where = (board.key, part.placement, part.name)
            if asked.get("quick"):
                known = self._labs.get(where)
                if known is None:
                    return {"part": name, "quick": True, "lab": [round(float(v), 1) for v in mean], "colour": hex_of(mean)}
                lab = mean + np.array(known[1])
                return {"part": name, "quick": True, "lab": [round(float(v), 1) for v in lab], "colour": hex_of(lab)}
            found = colours(replace(scene, parts=(part,)), kept=self.easel.kept)[0]
            # How far the face's mean lies from that of the whole board, for the quick answers that follow.
            self._labs[where] = (found, tuple((np.array(found.finished_lab) - mean).tolist()))
            while len(self._labs) > 50:
                self._labs.popitem(last=False)
            return plain_colour(found, scene)

        return self.easel.ask((tab, "colour", bool(asked.get("quick"))), 1 if asked.get("quick") else 2, work)

    def wood(self, name: str) -> Future:
        """A small picture of a wood of the library."""
        if name not in textures():
            raise MockupError(f'There is no wood "{name[:40]}".')

        def work(_: Callable[[float], None]) -> Blob:
            picture = cv2.imread(str(texture(textures()[name]).picture), cv2.IMREAD_REDUCED_COLOR_8)
            return jpeg(lying(picture[..., ::-1]), 260)

        return self.easel.ask(("wood", name, secrets.token_hex(4)), 4, work)

    def board(self, name: str) -> Future:
        """A board of the scene, as large as the page shows it, and its measures."""

        def work(_: Callable[[float], None]) -> tuple[Blob, dict[str, Any]]:
            scene = self.document.scene()
            if name not in scene.boards:
                raise MockupError(f'There is no board "{name[:40]}".')
            board = self.beside.board(scene.boards[name])
            picture, share = shown(board.pixels, 1400)
            return jpeg(picture, 1400), {"size": [round(v, 2) for v in board.size_mm], "shown": share}

        return self.easel.ask(("board", name, secrets.token_hex(4)), 3, work)

    def tilt(self, tab: str, asked: Mapping[str, Any]) -> Future:
        """Frames of a look as the lamp swings from one side to the other, by the names of their pictures."""
        from ..render.tilt import tilt

        seen = read_seen(asked)

        def work(report: Callable[[float], None]) -> dict[str, Any]:
            scene = replace(self._asked(asked), ground=seen.ground)
            made = tilt(scene, seen.canvas(), side=seen.side, frames=FRAMES, kept=self.easel.kept, report=report)
            frames = made.frames[:FRAMES // 2 + 1]
            names = []
            for frame in frames:
                data, kind = encoded(cv2.rotate(frame, cv2.ROTATE_90_COUNTERCLOCKWISE) if seen.lying else frame, exact=False)
                names.append(self.keep(Blob(data, kind)))
            return {"frames": names, "measured": made.measured, "words": list(made.words)}

        return self.easel.ask((tab, "tilt"), 2, work)

    def places(self, tab: str, asked: Mapping[str, Any]) -> Future:
        """The best places of a part on its board, each with a picture."""
        from ..board.thumbs import cut_out
        from ..render.where import part_places

        def work(report: Callable[[float], None]) -> dict[str, Any]:
            scene = self._asked(asked)
            found = part_places(scene, str(asked.get("part")), aim=str(asked.get("aim", "symmetric")), report=report)
            out = []
            for place in found.places:
                picture = cut_out(found.pixels, found.mm_per_pixel, found.pattern, place, 240 / (found.pattern.mask.shape[0] / found.pattern.px_per_mm))
                out.append({"at": [round(v, 2) for v in place.at], "turn": round(place.turn, 2), "words": place.words,
                            "picture": self.keep(jpeg(picture, 400))})
            return {"part": asked.get("part"), "places": out, "knots": len(found.knots)}

        return self.easel.ask((tab, "places"), 2, work)

    # -- what is changed -----------------------------------------------------------

    def edit(self, tab: str, wish: Mapping[str, Any]) -> dict[str, Any]:
        """Make a change; gives the new version."""
        gesture = wish.get("gesture")
        change = change_of(self.document.scene(), self.document.text, wish)
        version = self.document.edit(change, tab=tab, base=_whole(wish.get("version"), "version"), gesture=None if gesture is None else str(gesture)[:60])
        return {"version": version, "words": change.words}

    def save(self, *, over: bool = False) -> dict[str, Any]:
        """Save the scene; a built-in one as a copy."""
        with self._saving:  # asked for twice at once, a copy is made once
            if self.document.builtin:
                self._copy()
            else:
                self.document.save(over=over)
        return {"version": self.document.version, "file": str(self.document.file)}

    def _copy(self) -> None:
        """A folder of the maker's own with the built-in scene, and what was changed of it, in it."""
        text = self.document.text
        scene = self.document.scene(text=text)
        stem = self.document.file.stem
        folder = next(f for n in range(1, 1000) if not (f := self.home / (stem if n == 1 else f"{stem}-{n}")).exists())
        root = scene.folder.resolve()
        files = {folder / p.resolve().relative_to(root): p.read_bytes() for p in scene.sources.values() if p.resolve().is_relative_to(root)}
        file = folder / self.document.file.name
        files[file] = text.encode("utf-8")
        write_all(files)
        self.document.saved = text  # what was changed while it was written is not
        self.document.move_to(file)
        self.document.version += 1

    def keep_board(self, tab: str, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Write the measured board beside the scene, name it there, and lay a part on it."""
        self._own()
        scene = self.document.scene()
        part = next((p for p in scene.parts if p.name == asked.get("part")), scene.parts[-1])
        picture = self.photos.keep(self.folder, photo=asked.get("photo"), name=str(asked.get("name") or "board"), wood=str(asked.get("wood") or ""),
                                   actual=asked.get("actual") is not False, may=lambda p: not (p.exists() or p.is_symlink()))
        stem = Path(picture).stem
        name = next(n for n in (stem, *(f"{stem}-{i}" for i in range(2, 100))) if n not in scene.boards)
        from ..scene.rewrite import with_values, without
        from .document import Change

        def change(text: str) -> str:
            text = with_values(text, {("boards", name, "photo"): picture, ("parts", part.name, "board"): name})
            for key in ("at", "turn"):
                text = without(text, ("parts", part.name, key))
            return text

        self.document.forget()
        version = self.document.edit(Change(f"{part.title}: board from {asked.get('name') or 'a photo'}"[:90], f"{part.name}.wood", change), tab=tab,
                                     base=self.document.version)
        return {"version": version, "board": name, "picture": picture}

    def _own(self) -> None:
        with self._saving:
            if self.document.builtin:
                self._copy()

    # -- papers ----------------------------------------------------------------------

    def papers(self, tab: str, asked: Mapping[str, Any]) -> Future:
        """Write papers into the folder "papers" beside the scene, which is saved first."""

        def work() -> dict[str, Any]:
            from . import papers  # they load much that the first picture does not need

            scene = self._saved()
            paths = papers.write(scene, self.folder / "papers", asked, today=date.today().isoformat(), kept=self.easel.kept)
            return {**self._written(paths), "notes": papers.notes(scene, asked, paths)}

        return self._beside(work)

    def answer(self, data: bytes, *, write: bool) -> Future:
        """Read a client's answer: who chose what. With ``write`` its approval is written, too, the scene being saved first."""

        def work() -> dict[str, Any]:
            from . import papers

            today, kept = date.today().isoformat(), self.easel.kept
            self.beside.look_now()
            found = papers.read_answer(self.document.scene(exact=True), data, today=today, kept=kept)
            said = found.choice
            told = {"look": found.scene.variant.name, "option": found.scene.variant.title, "client": said.name, "date": said.date,
                    "comment": said.comment, "checked": said.checked}
            if not write:
                return told
            scene = self._saved()
            found = papers.read_answer(scene, data, today=today, kept=kept)  # of the files as they are now
            paths = papers.answered(scene, found, self.folder / "papers", today=today, kept=kept)
            return {**told, **self._written(paths), "notes": papers.notes(scene, {"kind": "approval", "look": told["look"]}, paths)}

        return self._beside(work)

    def _saved(self) -> Scene:
        self._own()
        self.beside.look_now()
        if self.document.dirty:
            self.document.save()
        return self.document.scene(exact=True, text=self.document.saved)  # as it is in the file: a hand may have gone on meanwhile

    def _written(self, paths: tuple[Path, ...]) -> dict[str, Any]:
        return {"files": [self._file(p) for p in paths], "folder": str(self.folder / "papers"), "version": self.document.version}

    def verify(self, tab: str, asked: Mapping[str, Any]) -> Future:
        """Check an approval written from here against what the scene is now."""
        from ..papers.verify import verify

        blob = self.blob(str(asked.get("record")))
        if blob.file is None or blob.file.suffix != ".json":
            raise MockupError("This is no record of an approval.", fix="Choose the json file that came with one.")

        def work() -> dict[str, Any]:
            found = verify(blob.file, kept=self.easel.kept)
            return {"unchanged": found.unchanged, "lines": found.lines()}

        return self._beside(work)

    def _beside(self, work: Callable[[], Any]) -> Future:
        """Have long work done beside the easel, one piece after the other, so that the picture still follows the hand."""
        threads = cv2.getNumThreads()

        def done() -> Any:
            try:
                return work()
            finally:
                cv2.setNumThreads(threads)  # two that draw at once may each have set it for themselves

        try:
            return self._slow.submit(done)
        except RuntimeError:  # the bench is stopping
            raise MockupError("The bench is being stopped.", fix="Start it again.") from None

    def _file(self, path: Path) -> dict[str, Any]:
        kinds = {".png": "image/png", ".jpg": "image/jpeg", ".pdf": "application/pdf", ".json": "application/json",
                 ".csv": "text/csv", ".html": "text/html; charset=utf-8"}
        return {"name": path.name, "id": self.keep(Blob(b"", kinds.get(path.suffix, "application/octet-stream"), path)), "bytes": path.stat().st_size}

    # -- photographs -------------------------------------------------------------------

    def photo(self, data: bytes, name: str, *, second: str | None = None) -> dict[str, Any]:
        """Take a dropped photograph, or a second one of the board of the photo known as ``second``; gives its measures and the name of a small picture of it."""
        picture, told = self.photos.receive(data, name) if second is None else self.photos.receive_second(data, name, second)
        return {**told, "picture": self.keep(jpeg(picture, 1600))}

    def measure(self, tab: str, asked: Mapping[str, Any]) -> Future:
        """Find the board in the photograph."""

        def work() -> dict[str, Any]:
            picture, told = self.photos.measure(asked)
            return {**told, "picture": self.keep(jpeg(picture, 1600))}

        return self._beside(work)

    def warm(self) -> None:
        """Do what the first picture needs before anybody asks for it."""

        def work(_: Callable[[float], None]) -> None:
            # Boards are read, parts cut, and the engine's libraries loaded, while the browser still reads the page.
            scene = self.document.scene()
            look = scene if not scene.variants else scene.with_variant(scene.variants[0].name)
            side = "front" if seen_pieces(look, "front") else "back"
            picture(sketched(look), side=side, scale=0.3, kept=self.easel.kept, canvas=Canvas.around(scene_box(look, side), 0.3, lying=True))

        self.easel.ask("warm", 0, work).add_done_callback(lambda done: done.exception())  # what is wrong the page will say

    def stop(self) -> None:
        """Draw no more and let go of what is large. What is being written is written to its end."""
        self._slow.shutdown(wait=True, cancel_futures=True)
        self.easel.stop()
        self.photos.leave()


def _whole(value: Any, what: str) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise MockupError(f"The page sent no {what}.", fix="Load it again.")
    return value
