"""`python -m voicenotes` is the command `voicenotes`."""

from __future__ import annotations

from voicenotes.cli.main import main

if __name__ == "__main__":
    main()
