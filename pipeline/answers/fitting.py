"""Fit and calibrate: from the live edition to the next one, with its mass model and its layout families."""

from __future__ import annotations

from typing import Any

from pipeline.answers.doubts import forget_doubts, write_doubts
from pipeline.answers.engines import HERE, Engine, model_on_spark
from pipeline.answers.history import BODIES, history_of
from pipeline.answers.kept_margins import MARK, keep_margins
from pipeline.answers.trust import REPORT
from pipeline.errors import WrongCall
from pipeline.layouts.families import build_families, read_families
from pipeline.mass.estimate import estimate
from pipeline.mass.evidence import REASONS, USED, Evidence, History
from pipeline.mass.fit import Fitted, fit_fully, left_out
from pipeline.mass.missing import short_lists
from pipeline.mass.model import Model
from pipeline.store import Store
from pipeline.store.disk import only_one, reached, write_json, write_whole, writing
from pipeline.store.editions import DATABASE, MODEL, building, publish
from pipeline.store.load import open_builder
from pipeline.store.schema import create_views, keep_facts

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
            history = history_of(con)
            fitted = None if engine.spread else fit_fully(history, settings.mass, settings.vehicles)
            model, evidence = (fitted.model, fitted.evidence) if fitted else model_on_spark(history, settings, engine)
            reached("model-fitted")
            earlier = read_families(con) if _has_families(con) else None
            families = build_families(con, earlier, settings.layouts)
            _write_estimates(con, model, history)
            if fitted:
                write_doubts(con, fitted, short_lists(fitted), settings.mass)
            else:
                forget_doubts(con)
            create_views(con)
            keep_facts(con)
            mark = keep_margins(con, history, model, settings)
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
    outcome = {"edition": edition.number, **_figures(model, evidence), "families": families.families.height}
    return outcome | ({"report": told} if report else {})


def _write_estimates(con: Any, model: Model, history: History) -> None:
    """What the model says of every body of history, for whoever looks for bodies by their standing."""
    import polars as pl

    bodies = history.bodies
    found = estimate(model, bodies, history.fitout)
    frame = pl.DataFrame({
        "job_id": bodies["job_id"].tolist(), "body": bodies["body"].tolist(), "estimate_kg": found.estimate_kg,
        "low_kg": found.low_kg, "high_kg": found.high_kg, "standing": found.standing.tolist(), "why": found.why.tolist(),
    }, schema_overrides={"why": pl.String})  # fmt: skip
    con.register("estimates_made", frame.to_arrow())
    con.execute("CREATE OR REPLACE TABLE body_estimates AS FROM estimates_made")
    con.unregister("estimates_made")


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
        SELECT f.name FROM ({BODIES.format(jobs="")}) AS b
        LEFT JOIN family_of_body AS m ON m.job_id = b.job_id AND m.body = b.body
        LEFT JOIN families AS f ON f.family = m.family ORDER BY b.job_id, b.body""").fetchall()
    return [row[0] for row in rows]


def _has_families(con: Any) -> bool:
    return bool(con.execute("SELECT 1 FROM information_schema.tables WHERE table_name = 'families'").fetchall())
