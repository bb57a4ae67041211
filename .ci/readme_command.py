"""Print one of the README's two commands: `readme_command.py run` or `readme_command.py test`."""

import re
import sys
from pathlib import Path


def commands(readme: str) -> dict[str, str]:
    """The first two shell lines of the README: the one that runs it and the one that tests it."""
    blocks = re.findall(r"^```sh\n(.+?)\n```", readme, re.M | re.S)
    return {"run": blocks[0], "test": blocks[1]}


if __name__ == "__main__":
    print(commands(Path(__file__).parent.parent.joinpath("README.md").read_text("utf-8"))[sys.argv[1]])
