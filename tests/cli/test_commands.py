"""The commands as people call them: data on stdout, talk on stderr, an exit code that says how it went."""

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from pipeline.answers.estimates import COLUMNS
from pipeline.cli import main
from pipeline.store.load import ACCOUNT_COLUMNS

ROOT = Path(__file__).parents[2]
ESTIMATE_COLUMNS = (  # the public contract's, spelled out: other people's programs read them
    "job_id", "body", "estimate_kg", "low_kg", "high_kg", "level", "com_x_mm", "com_x_low_mm", "com_x_high_mm",
    "com_y_mm", "com_y_low_mm", "com_y_high_mm", "standing", "why", "nearest",
)  # fmt: skip


def told(capsys):
    out = capsys.readouterr().out
    return list(csv.DictReader(io.StringIO(out)))


def test_load_accounts_for_every_file(shop):
    with (shop / "accounts.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == ACCOUNT_COLUMNS
    for row in rows:
        assert int(row["read"]) == sum(int(row[state]) for state in ("kept", "suspect", "rejected", "superseded"))


def test_loading_the_same_bytes_again_changes_nothing(shop, capsys):
    before = json.loads((shop / "store/editions" / (shop / "store/live").read_text().strip() / "manifest.json").read_text())
    assert main(["load", str(shop / "history"), "--store", str(shop / "store")]) == 0
    assert "nothing new" in capsys.readouterr().err
    live = (shop / "store/live").read_text().strip()
    assert json.loads((shop / "store/editions" / live / "manifest.json").read_text()) == before


def test_estimate_gives_a_row_a_body_in_the_contract_s_columns(shop, capsys):
    assert COLUMNS == ESTIMATE_COLUMNS
    assert main(["estimate", str(shop / "drafts"), "--store", str(shop / "store")]) == 0
    rows = told(capsys)
    with (shop / "drafts/bodies.csv").open(newline="") as file:
        assert [row["job_id"] for row in rows] == [row["job_id"] for row in csv.DictReader(file)]
    for row in rows:
        assert float(row["low_kg"]) < float(row["estimate_kg"]) < float(row["high_kg"])
        assert row["standing"] in ("inside", "edge", "outside")


@pytest.mark.parametrize("ending", [".csv", ".json", ".parquet", ".xlsx"])
def test_every_kind_of_file_holds_the_same_rows(shop, tmp_path, ending):
    out = tmp_path / f"estimates{ending}"
    assert main(["estimate", str(shop / "drafts"), "--store", str(shop / "store"), "--out", str(out)]) == 0
    read = {".csv": pl.read_csv, ".json": pl.read_json, ".parquet": pl.read_parquet, ".xlsx": pl.read_excel}[ending]
    frame = read(out)
    assert frame.columns == list(ESTIMATE_COLUMNS)
    again = tmp_path / "again.csv"
    main(["estimate", str(shop / "drafts"), "--store", str(shop / "store"), "--out", str(again)])
    assert frame["estimate_kg"].cast(pl.Float64).to_list() == pl.read_csv(again)["estimate_kg"].cast(pl.Float64).to_list()


def test_a_wider_level_gives_a_wider_interval(shop, capsys):
    widths = []
    for level in ("0.5", "0.9", "0.99"):
        assert main(["estimate", str(shop / "drafts"), "--store", str(shop / "store"), "--level", level]) == 0
        widths.append(sum(float(row["high_kg"]) - float(row["low_kg"]) for row in told(capsys)))
    assert widths == sorted(widths)
    assert widths[0] < widths[2]


def test_an_unknown_item_is_estimated_without_and_said_first(shop, tmp_path, capsys):
    drafts = tmp_path / "drafts"
    drafts.mkdir()
    (drafts / "bodies.csv").write_text("job_id,body,length_mm,width_mm,height_mm\nD1,canopy,1650,1780,850\n")
    (drafts / "fitout.csv").write_text("job_id,body,item_id\nD1,canopy,no-such-thing\n")
    assert main(["estimate", str(drafts), "--store", str(shop / "store")]) == 1
    captured = capsys.readouterr()
    row = next(csv.DictReader(io.StringIO(captured.out)))
    assert row["standing"] == "outside"
    assert row["why"].startswith("estimated without no-such-thing")
    assert "fitout.csv line 2: item_id = no-such-thing: unknown item" in captured.err


@pytest.mark.parametrize(
    ("call", "code", "said"),
    [
        (["estimate", "{drafts}", "--level", "0.3"], 2, "0.50 to 0.99"),
        (["estimate", "{drafts}", "--out", "x.doc"], 2, "a name that ends in"),
        (["estimate", "{nowhere}"], 3, "no such file or folder"),
        (["export", "bodys"], 2, "did you mean 'bodies'?"),
        (["editions", "use", "99"], 2, "one of:"),
        (["editions", "use"], 2, "which edition?"),
        (["load", "{nowhere}"], 3, "no such file or folder"),
    ],
)  # fmt: skip
def test_a_wrong_call_is_one_sentence_and_its_code(shop, tmp_path, capsys, call, code, said):
    places = {"drafts": str(shop / "drafts"), "nowhere": str(tmp_path / "nowhere")}
    assert main([part.format(**places) for part in call] + ["--store", str(shop / "store")]) == code
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.out == ""


def test_without_a_store_the_answer_is_which_command_makes_one(tmp_path, shop, capsys):
    assert main(["estimate", str(shop / "drafts"), "--store", str(tmp_path / "none")]) == 4
    assert "`tarebook load PATH` makes one" in capsys.readouterr().err


def test_a_file_is_not_served_as_a_store_nor_a_store_with_wrong_settings(tmp_path, capsys):
    (tmp_path / "records.csv").write_text("job_id\n")
    assert main(["serve", "--store", str(tmp_path / "records.csv")]) == 2
    assert "records.csv: a store is a folder" in capsys.readouterr().err
    (tmp_path / "tarebook.toml").write_text("[limits]\nnear_margn_kg = 100\n")
    assert main(["serve", "--store", str(tmp_path)]) == 3
    assert "near_margn_kg" in capsys.readouterr().err


def test_before_a_fit_the_answer_is_to_fit(tmp_path, shop, capsys):
    store = str(tmp_path / "store")
    main(["load", str(shop / "history"), "--store", store])
    capsys.readouterr()
    assert main(["estimate", str(shop / "drafts"), "--store", store]) == 4
    assert "run `tarebook fit`" in capsys.readouterr().err


def test_editions_lists_them_and_brings_an_older_one_back(shop, capsys):
    store = ["--store", str(shop / "store")]
    assert main(["editions", *store]) == 0
    rows = told(capsys)
    assert list(rows[0]) == ["edition", "made_on", "by", "rows", "model", "live"]
    assert [row["by"] for row in rows[:2]] == ["load", "fit"]
    assert main(["editions", "use", "1", *store]) == 0
    assert [row["edition"] for row in told(capsys) if row["live"] == "yes"] == ["1"]
    main(["editions", "use", "2", *store])


def test_rebuild_makes_the_same_store_from_the_originals(shop, capsys):
    assert main(["rebuild", "--store", str(shop / "store")]) == 0
    rows = told(capsys)
    assert len(rows) > 20
    assert {row["alike"] for row in rows} == {"yes"}


def test_every_command_has_help_with_the_exit_codes_in_the_first(capsys):
    with pytest.raises(SystemExit) as left:
        main(["--help"])
    assert left.value.code == 0
    text = capsys.readouterr().out
    for word in ("load", "fit", "estimate", "export", "columns", "settings", "editions", "rebuild", "serve", "up", "exit codes"):
        assert word in text


def test_the_way_to_an_estimate_imports_no_heavy_library(shop):
    code = (
        "import sys\nfrom pipeline.cli import main\n"
        f"assert main(['estimate', {str(shop / 'drafts')!r}, '--store', {str(shop / 'store')!r}, '--out', {str(shop / 'e.csv')!r}]) == 0\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'sklearn', 'scipy', 'pandas', 'polars', 'streamlit', 'altair', 'pyarrow'}))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert run.stdout.strip() == "[]"


def test_stdout_closed_early_is_no_error(shop):
    call = f"{sys.executable} -m pipeline.cli export fitout --store {shop / 'store'} | head -1"
    run = subprocess.run(["bash", "-o", "pipefail", "-c", call], capture_output=True, text=True, cwd=ROOT)
    assert run.returncode == 0
    assert run.stderr == ""


def test_the_nearest_builds_are_named_with_their_masses(shop, capsys):
    assert main(["estimate", str(shop / "drafts"), "--store", str(shop / "store"), "--nearest", "3"]) == 0
    rows = told(capsys)
    with (shop / "history/bodies.csv").open(newline="") as file:
        weighed = {f"{row['job_id']}/{row['body']} {float(row['weighed_kg']):g} kg" for row in csv.DictReader(file) if row["weighed_kg"]}
    for row in rows:
        assert 1 <= len(named := row["nearest"].split("; ")) <= 3
        assert set(named) <= weighed
