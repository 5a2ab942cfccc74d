"""One picture in a process of its own; prints its peak memory, its processor time and its duration as JSON.

Use: python -m tests.bench.child SCENE MEGAPIXELS OUT.png [CORES]
"""

import json
import os
import resource
import sys
import time
from pathlib import Path


def main() -> None:
    if len(sys.argv) > 4:  # before anything asks how many cores there are
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:int(sys.argv[4])])
    from mockup.files.picture import write_picture
    from mockup.render.picture import picture
    from mockup.scene.load import load_scene

    from .inputs import scale_for

    scene = load_scene(Path(sys.argv[1]))
    scale = scale_for(scene, float(sys.argv[2]))
    before, start = time.process_time(), time.perf_counter()
    drawn = picture(scene, scale=scale)
    cpu, wall = time.process_time() - before, time.perf_counter() - start
    write_picture(Path(sys.argv[3]), drawn.pixels, px_per_mm=scale)
    print(json.dumps({"peak": _peak(), "cpu": cpu, "wall": wall, "megapixels": drawn.pixels.size / 3e6}))


def _peak() -> int:
    """The most memory this process has held, in bytes."""
    try:
        # Linux carries ru_maxrss over from the process that started this one; VmHWM begins anew.
        status = Path("/proc/self/status").read_text()
        return int(status.split("VmHWM:")[1].split()[0]) * 1024
    except (OSError, IndexError):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


if __name__ == "__main__":
    main()
