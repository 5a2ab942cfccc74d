"""``mockup sheet``: variants side by side."""
from __future__ import annotations
import click
from .plain import PlainCommand, scene_argument
__all__ = ["sheet"]
@click.command(cls=PlainCommand, example="mockup sheet tern")
@scene_argument
def sheet(scene): ...
