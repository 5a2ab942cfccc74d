"""A small instrument of three options on a piece of flame maple, and a phone to look at it on."""

from tests.conftest import write_small

PHONE = {"viewport": {"width": 360, "height": 640}, "device_scale_factor": 3, "has_touch": True, "is_mobile": True}

SCENE = """
[scene]
title = "Pipit"
revision = "B"

[boards.flame]
photo = "flame.jpg"
mm_per_pixel = 0.25
wood = "flame maple"
actual = true

[parts.body]
title = "Body"
outline = "pipit.svg#body"
board = "flame"
height = 40
roundover = 3
finish = [ { stain = "walnut brown", strength = 0.4 }, { coat = "oil", coats = 3 } ]
sheen = 15

[parts.top]
title = "Top"
outline = "pipit.svg#top"
board = "flame"
cut = "bookmatch"
height = 44
finish = [ { stain = "honey", strength = 0.6 }, { coat = "oil varnish", coats = 4 } ]
sheen = 80

[variants.honey]
title = "Honey"
why = "Light and warm."

[variants.blue]
title = "Blue"
[variants.blue.set]
"parts.top.finish.1" = { stain = "blue", strength = 0.6 }
"parts.top.sheen" = 25

[variants.green]
title = 'Green, "moss" & fern'
why = "As asked for."
[variants.green.set]
"parts.top.finish.1" = { stain = "green", strength = 0.7 }
"""


def make_scene(folder, board_jpeg):
    """The scene's folder with all its files; the scene's path."""
    return write_small(folder, board_jpeg, SCENE)
