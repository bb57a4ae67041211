"""Fit and calibrate: from the live edition to the next one, with its mass model and its layout families."""

from __future__ import annotations

from typing import Any

from pipeline.answers.doubts import forget_doubts, write_doubts
from pipeline.answers.engines import HERE, Engine, model_on_spark
from pipeline.answers.history import BODIES, history_to_fit
from pipeline.answers.kept_margins import MARK
from pipeline.answers.made_by_fit import keep_what_follows
from pipeline.answers.trust import REPORT
from pipeline.errors import WrongCall
from pipeline.layouts.families import build_families, read_families
from pipeline.mass.evidence import REASONS, USED, Evidence
from pipeline.mass.fit import Fitted, fit_fully, left_out
from pipeline.mass.missing import short_lists
from pipeline.mass.model import Model
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.store.disk import only_one, reached, write_json, write_whole, writing
from pipeline.store.editions import DATABASE, MODEL, building, publish
from pipeline.store.load import open_builder

_FIGURES = ("rmse_kg", "mape", "width_kg", "cad_bias", "cad_bias_sd", "flagged", "rows", "newest")


def fit_store(store: Store, report: bool = False, engine: Engine = HERE) -> dict[str, Any]:
    """Fit on the live edition and publish the next one with the model.

    Args:
        report: add the long report (backtest, errors by group, reliability, the ladder of rivals).
        engine: where the rows of the fit lie. On Spark no report and no doubts are made: both look at every row's design again.
    Returns: `edition, bodies_used, left_out, rmse_kg, mape, coverage, width_kg, cad_bias` and more, as plain values.
    Raises: NoStore, StoreBusy, StoreUnwritable; EngineAway, WrongCall: a report from Spark.
    """
    if report and engine.spread:
        raise WrongCall("the long report is not made on Spark", do="fit without --engine for it")
    parent = store.live()
    settings = store.settings()
    with writing(store.root), only_one(store.lock), building(store) as folder:
        parent.copy_database(folder / DATABASE)
        with open_builder(folder, settings) as con:
            model, fitted, outcome = _fitted(con, settings, engine)
            reached("model-fitted")
            if not report:
                # what comes now goes through history anew, part by part
                fitted = None
            earlier = read_families(con) if _has_families(con) else None
            families = build_families(con, earlier, settings.layouts)
            mark = keep_what_follows(con, model, settings)
            con.execute("CHECKPOINT")
            told = _report(fitted, settings, _families_of(con)) if report and fitted else None
        reached("families-built")
        write_whole(folder / MODEL, model.to_json().encode())
        if told is not None:
            write_json(folder / REPORT, told)
        kept = ("hand_ins", "settings", "rows", "digests", "digests_by", "records_to")
        manifest = {key: parent.manifest[key] for key in kept} | {"by": "fit", "parent": parent.number, "fitted_on": model.digest}
        manifest |= {"rules_since": parent.rules_since, MARK: mark}
        edition = publish(store, folder, manifest, settings)
    return {"edition": edition.number, **outcome, "families": families.families.height} | ({"report": told} if report else {})


def _fitted(con: Any, settings: Settings, engine: Engine) -> tuple[Model, Fitted | None, dict[str, Any]]:
    """The model, what it stands on where that lay here, and its figures; what it doubts is in the edition."""
    history = history_to_fit(con)
    if engine.spread:
        model, evidence = model_on_spark(history, settings, engine)
        forget_doubts(con)
        return model, None, _figures(model, evidence)
    fitted = fit_fully(history, settings.mass, settings.vehicles)
    write_doubts(con, fitted, short_lists(fitted), settings.mass)
    return fitted.model, fitted, _figures(fitted.model, fitted.evidence)


def _figures(model: Model, evidence: Evidence) -> dict[str, Any]:
    reasons = left_out(evidence)
    used = reasons.pop(REASONS[USED])
    facts = model.facts
    by_level = facts.get("coverage", {})
    told = {key: facts[key] for key in _FIGURES if key in facts}
    return {"bodies_used": used, "left_out": reasons} | told | {"coverage": by_level.get("0.9"), "coverage_by_level": by_level}


def _report(fitted: Fitted, settings: Any, families: list[str | None]) -> dict[str, Any]:
    from pipeline.mass.report import full_report

    return full_report(fitted, settings.mass, families)


def _families_of(con: Any) -> list[str | None]:
    """Name of the layout family of each body, in the history's order."""
    rows = con.execute(f"""
        SELECT f.name FROM ({BODIES.format(columns="*", jobs="")}) AS b
        LEFT JOIN family_of_body AS m ON m.job_id = b.job_id AND m.body = b.body
        LEFT JOIN families AS f ON f.family = m.family ORDER BY b.job_id, b.body""").fetchall()
    return [row[0] for row in rows]


def _has_families(con: Any) -> bool:
    return bool(con.execute("SELECT 1 FROM information_schema.tables WHERE table_name = 'families'").fetchall())
