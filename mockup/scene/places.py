"""Where the built-in woods and scenes lie, in a checkout and in an installed wheel."""

from __future__ import annotations

from pathlib import Path

from ..errors import MockupError

__all__ = ["builtin_scenes", "scenes_folder", "shop_files", "textures_folder"]

PACKAGE = Path(__file__).resolve().parents[1]


def _folder(name: str) -> Path:
    """The wheel carries the folder inside the package; a checkout has it beside the package."""
    for folder in (PACKAGE / name, PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise MockupError(f'The folder "{name}" that belongs to this program is missing.',
                      fix="Install the program again.")


def textures_folder() -> Path:
    """Folder of the built-in woods: a picture and a small TOML each."""
    return _folder("textures")


def scenes_folder() -> Path:
    """Folder of the built-in scenes, one folder each."""
    return _folder("scenes")


def builtin_scenes() -> dict[str, Path]:
    """Built-in scenes by name: ``scenes/NAME/NAME.toml``."""
    return {file.stem: file for file in sorted(scenes_folder().glob("*/*.toml"))
            if file.stem == file.parent.name}


def shop_files(scene: Path) -> tuple[Path, Path]:
    """Where what the shop knows of a scene's file may be written; the first that is there counts."""
    return scene.with_name(f"{scene.stem}.shop.toml"), scene.with_name("shop.toml")
