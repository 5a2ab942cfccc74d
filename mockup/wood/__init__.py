"""Demo woods: boards sawn from a model of a log, reproducible from a seed.

``make_board`` gives reflectance and maps; ``board_rgb`` and ``board_toml`` the
files of a texture; ``contact_sheet`` a picture of the library.
"""

from mockup.wood.board import LIGHTS, Board, make_board
from mockup.wood.faults import FAULTS
from mockup.wood.log import CUTS
from mockup.wood.sheet import contact_sheet
from mockup.wood.species import Species, load_species, read_species, species_names
from mockup.wood.texture import board_rgb, board_toml

__all__ = ["CUTS", "FAULTS", "LIGHTS", "Board", "Species", "board_rgb", "board_toml", "contact_sheet",
           "load_species", "make_board", "read_species", "species_names"]
