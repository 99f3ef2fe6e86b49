"""``python -m device`` is ``tapetum``."""

from device.cli import main

if __name__ == "__main__":
    main()
