"""``python -m firstsilk`` is the same as ``firstsilk``."""

from firstsilk.faces.command.main import main

if __name__ == "__main__":
    main()
