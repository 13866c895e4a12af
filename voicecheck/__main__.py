"""``python -m voicecheck`` is the command line."""

from voicecheck.cli import main

if __name__ == "__main__":
    main()
