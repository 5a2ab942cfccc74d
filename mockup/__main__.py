"""``python -m mockup`` is the command ``mockup``."""

from .cli import main

__all__: list[str] = []

if __name__ == "__main__":
    main()
