"""The console command: loads the program so that Ctrl-C while it loads is one sentence, too."""

import sys


def main() -> int:
    """Load the commands and run the one that was typed; returns its exit code, 130 when stopped."""
    try:
        from dashboard.cli.main import main as run

        return run()
    except KeyboardInterrupt:
        sys.stderr.write("cranktrend: stopped\n")
        return 130


if __name__ == "__main__":
    sys.exit(main())
