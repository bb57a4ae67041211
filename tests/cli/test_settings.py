"""Settings: every key has a default and a reason; a wrong file is told whole."""

import json

import pytest

from pipeline.cli import main
from pipeline.errors import InputRefused
from pipeline.settings import Settings, list_settings, load_settings


def test_every_setting_says_what_it_is():
    assert [each.key for each in list_settings(None) if not each.doc] == []


def test_no_file_is_all_defaults(tmp_path):
    assert load_settings(tmp_path / "tarebook.toml") == Settings()


def test_a_file_overrides_single_keys_and_says_so(tmp_path):
    file = tmp_path / "tarebook.toml"
    file.write_text('[workshop]\nname = "Gannet"\n[ranges]\n"bodies.length_mm" = [500, 4000]\n')
    settings = load_settings(file)
    assert settings.workshop.name == "Gannet"
    assert settings.ranges["bodies.length_mm"] == (500.0, 4000.0)
    assert {each.key: each.source for each in list_settings(file)}["workshop.name"] == str(file)


def test_every_problem_of_a_file_is_told_at_once_with_its_cure(tmp_path):
    file = tmp_path / "tarebook.toml"
    ranges = '[ranges]\n"bodies.lenght_mm" = [1, 2]\n"bodies.width_mm" = [5, 2]\n'
    file.write_text(f'[sift]\nwide_body = 3\nparts_low = "x"\n{ranges}[nothing]\na = 1\n')
    with pytest.raises(InputRefused) as refused:
        load_settings(file)
    told = str(refused.value)
    assert len(refused.value.faults) == 5
    cures = ("did you mean 'wide_body_mm'?", "did you mean 'bodies.length_mm'?", "low before high")
    for part in ("sift.parts_low", "no setting 'nothing'", *cures):
        assert part in told


def test_a_file_that_is_no_toml_is_one_sentence(tmp_path):
    file = tmp_path / "tarebook.toml"
    file.write_text("[sift\n")
    with pytest.raises(InputRefused, match="not readable as TOML"):
        load_settings(file)


def test_settings_of_a_call_hold_for_loading_fitting_and_exporting(shop, tmp_path, capsys):
    file = tmp_path / "narrow.toml"
    file.write_text('[ranges]\n"bodies.length_mm" = [300, 1500]\n[layouts]\nmost_families = 1\n')
    store = ["--store", str(tmp_path / "store"), "--settings", str(file)]
    assert main(["load", str(shop / "history"), *store]) == 1
    assert main(["export", "rejects", *store]) == 0
    assert "length_mm,out-of-range" in capsys.readouterr().out
    assert main(["fit", *store]) == 0
    manifest = next(iter(sorted((tmp_path / "store/editions").glob("*/manifest.json"))))
    assert json.loads(manifest.read_text())["settings"] == file.read_text()
    capsys.readouterr()
    assert main(["rebuild", "--store", str(tmp_path / "store")]) == 0
    assert "no" not in {line.rsplit(",", 1)[1] for line in capsys.readouterr().out.splitlines()[1:]}


def test_a_settings_file_that_is_not_there_is_a_wrong_call(tmp_path, capsys):
    assert main(["settings", "--settings", str(tmp_path / "none.toml"), "--store", str(tmp_path)]) == 2
    assert "no such settings file" in capsys.readouterr().err
