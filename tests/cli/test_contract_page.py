"""The contract's page and the commands that print it come from the one declaration."""

import subprocess
import sys
from pathlib import Path

from pipeline.contract.page import contract_markdown, contract_rows

ROOT = Path(__file__).parents[2]


def test_the_page_of_the_contract_is_the_declaration():
    page = (ROOT / "pipeline/contract/README.md").read_text("utf-8")
    assert page == contract_markdown(), "write it anew: tarebook columns --markdown > pipeline/contract/README.md"


def test_columns_prints_every_column_with_unit_and_range():
    run = subprocess.run([sys.executable, "-m", "pipeline.cli", "columns"], capture_output=True, text=True, check=True, cwd=ROOT)
    lines = run.stdout.splitlines()
    assert len(lines) == len(contract_rows()) + 1
    assert "bodies,length_mm,number,mm,300 to 9000,yes,outside length" in lines
    assert '"over 0, up to 200"' in next(line for line in lines if line.startswith("fitout,qty,"))


def test_the_contract_needs_the_standard_library_alone():
    code = "import sys; import pipeline.contract.page; print(sorted({m.split('.')[0] for m in sys.modules} - set(sys.stdlib_module_names)))"
    run = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert {name for name in eval(run.stdout) if not name.startswith("_")} == {"pipeline"}
