"""A project folder to start from: one commented scene and one drawing."""

from __future__ import annotations

from pathlib import Path

__all__ = ["starter_files"]

FOLDER = Path(__file__).resolve().parent / "template"


def starter_files() -> dict[str, bytes]:
    """File names and contents of a new project, its scene file first."""
    return {name: (FOLDER / name).read_bytes() for name in ("scene.toml", "body.svg")}
