"""A module imports from its own room or from lower floors only (the table in DEVELOPERS.md)."""

import ast
import sys
import tomllib
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "mockup"
FLOORS = {
    "errors": 0, "colour": 0, "files": 0,
    "wood": 1, "board": 1, "outline": 1, "finish": 1,
    "scene": 2,
    "render": 3,
    "papers": 4,
    "cli": 5, "commands": 5, "bench": 5, "__main__": 5,
}
NEIGHBOURS = {0, 5}  # floors whose rooms may use each other; those of floor 1 stand alone
# Where the imaging libraries may not be: help must come at once.
QUICK = {"errors", "cli", "commands", "__main__"}
IMAGING = {"starlette", "uvicorn", "numpy", "cv2", "PIL", "skimage", "shapely", "scipy", "svgelements", "PyOpenColorIO", "pikepdf", "fontTools"}

MODULES = sorted(PACKAGE.rglob("*.py"))


def name_of(path):
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return parts[:-1] if parts[-1] == "__init__" else parts


def imported(path, tree=None):
    """(names below mockup, or the other library's name; line; whether at the top of the module) of each import."""
    tree = tree or ast.parse(path.read_text())
    here = path.relative_to(PACKAGE).parent.parts
    top = set(map(id, tree.body))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name.split("."), node.lineno, id(node) in top
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                base = ["mockup", *here[:len(here) - node.level + 1]]
                base += node.module.split(".") if node.module else []
            else:
                base = node.module.split(".")
            # "from . import x" names a module or a thing in it.
            yield from ((base + [alias.name] if len(base) < 3 else base, node.lineno, id(node) in top) for alias in node.names)


def faults(path, tree=None):
    """Imports of one module that the floors forbid, in words."""
    name = name_of(path)
    if not name:
        return []
    room, floor = name[0], FLOORS[name[0]]
    told = []
    for target, line, _ in imported(path, tree):
        if target[0] != "mockup" or len(target) < 2 or target[1].startswith("__version"):
            continue
        other = target[1]
        if other == room:
            continue
        there = FLOORS.get(other)
        if there is None:
            told.append(f"line {line}: {other} stands on no floor")
        elif there > floor or (there == floor and floor not in NEIGHBOURS):
            told.append(f"line {line}: {room} (floor {floor}) imports {other} (floor {there})")
    return told


@pytest.mark.parametrize("path", MODULES, ids=lambda p: ".".join(name_of(p)) or "mockup")
def test_imports_go_down(path):
    assert faults(path) == []


@pytest.mark.parametrize("line, told", [
    ("from ..render.picture import picture", "finish (floor 1) imports render (floor 3)"),
    ("from mockup.outline.shape import Shape", "finish (floor 1) imports outline (floor 1)"),
    ("from .. import papers", "finish (floor 1) imports papers (floor 4)"),
    ("import mockup.scene", "finish (floor 1) imports scene (floor 2)"),
    ("def late():\n    from ..wood import board", "finish (floor 1) imports wood (floor 1)"),
    ("from ..colour.spaces import encode_srgb", None),
    ("from .steps import Stain", None),
])
def test_the_check_sees_a_forbidden_import(line, told):
    """So that the test above cannot pass by seeing nothing."""
    found = faults(PACKAGE / "finish" / "spoiled.py", ast.parse(line))
    assert (told is None and found == []) or (told is not None and told in found[0])


def test_every_room_has_a_floor():
    rooms = {name_of(p)[0] for p in MODULES if name_of(p)}
    assert rooms <= set(FLOORS)


def test_doors_load_no_imaging_library_at_the_top():
    told = [f"{path.name}:{line} {target[0]}" for path in MODULES if name_of(path) and name_of(path)[0] in QUICK
            for target, line, top in imported(path) if top and target[0] in IMAGING]
    assert told == []


def declared(lines):
    """Module names of the packages in a list of requirements."""
    names = {"opencv-python-headless": "cv2", "pillow": "PIL", "scikit-image": "skimage", "opencolorio": "PyOpenColorIO",
             "fonttools": "fontTools", "axe-playwright-python": "axe_playwright_python", "colour-science": "colour", "pi-heif": "pi_heif", "pillow-heif": "pillow_heif"}
    packages = [line.split(">")[0].split("[")[0].strip().lower() for line in lines]
    return {names.get(package, package) for package in packages}


def test_libraries_are_declared():
    """The program imports what pyproject names as dependencies, all of it and nothing else; tests may use the extra, too."""
    project = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text())["project"]
    program, extra = declared(project["dependencies"]), declared(project["optional-dependencies"]["test"])
    own = set(sys.stdlib_module_names) | {"mockup", "tests"}
    used = {target[0] for path in MODULES for target, _, _ in imported(path)} - own
    assert used == program | declared(project["optional-dependencies"]["raw"])
    tests = PACKAGE.parent / "tests"
    files = sorted(tests.rglob("*.py"))
    own |= {path.stem for path in files}
    used = {name for path in files for node in ast.walk(ast.parse(path.read_text())) for name in
            ([a.name.split(".")[0] for a in node.names] if isinstance(node, ast.Import) else
             [node.module.split(".")[0]] if isinstance(node, ast.ImportFrom) and not node.level else [])} - own
    assert used - program - extra == set()
    assert extra - used <= {"hatchling", "colour", "pytest-xdist", "pillow_heif", "rawpy"}, "run as a program, imported by importorskip, loaded by pytest"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: ".".join(name_of(p)) or "mockup")
def test_public_names(path):
    """Each module says what it is and what of it is public; what is public says what it does."""
    tree = ast.parse(path.read_text())
    assert ast.get_docstring(tree), "the module has no docstring"
    if path.name == "__init__.py":
        return
    public = None
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
        if any(isinstance(t, ast.Name) and t.id == "__all__" for t in targets):
            public = ast.literal_eval(node.value)
    assert public is not None, "no __all__"
    defined = {n.name: n for n in tree.body if isinstance(n, (ast.FunctionDef, ast.ClassDef))}
    names = set(defined)
    for node in tree.body:
        if isinstance(node, ast.Assign):
            names |= {n.id for t in node.targets for n in ast.walk(t) if isinstance(n, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
        elif isinstance(node, (ast.Import, ast.ImportFrom)):
            names |= {a.asname or a.name for a in node.names}
    assert set(public) - names == set(), "__all__ names what is not there"
    assert [n for n in defined if n in public and not ast.get_docstring(defined[n])] == [], "public, without a docstring"
    assert [n for n in defined if not n.startswith("_") and n not in public] == [], "neither private nor in __all__"


def test_modules_stay_readable():
    long = {str(p.relative_to(PACKAGE)): n for p in MODULES if (n := len(p.read_text().splitlines())) > 400}
    assert long == {}
