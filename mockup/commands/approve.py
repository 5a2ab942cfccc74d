"""``mockup approve``: variants side by side."""
from __future__ import annotations
import click
from .plain import PlainCommand, scene_argument
__all__ = ["approve"]
@click.command(cls=PlainCommand, example="mockup approve tern")
@scene_argument
def approve(scene): ...
