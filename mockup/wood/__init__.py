"""Demo woods: boards drawn from a model of a log, reproducible from a seed."""

from mockup.wood.board import Board, make_board
from mockup.wood.species import Species, load_species, read_species, species_names

__all__ = ["Board", "Species", "load_species", "make_board", "read_species", "species_names"]
