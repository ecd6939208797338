"""Verdicts keep what made them and what was found, measurements name those they supersede, suspects name a measurement.

What earlier versions stored is filled in from what stands there: the plan of a night gives crack limit and role of its
shafts, verdicts and results what was found, the order of storing what superseded what. Times of the wall clock count
for nothing: a clock may have been set back.
"""

import json
from collections.abc import Iterator
from typing import Any

from alembic import op
from midspan.store.upgrade import may_change, only_grows
from sqlalchemy import Connection

revision = "0006"
down_revision = "0005"

CHANGES = (
    "CREATE TABLE bases (id INTEGER NOT NULL, content VARCHAR NOT NULL, PRIMARY KEY (id), UNIQUE (content))",
    "CREATE TABLE supersessions (run_id INTEGER NOT NULL, superseded_id INTEGER NOT NULL, "
    "PRIMARY KEY (run_id, superseded_id), FOREIGN KEY(run_id) REFERENCES runs (id), "
    "FOREIGN KEY(superseded_id) REFERENCES runs (id))",
    "CREATE INDEX ix_supersessions_superseded_id ON supersessions (superseded_id)",
    "CREATE TABLE vouchers (id INTEGER NOT NULL, shaft INTEGER NOT NULL, run_id INTEGER NOT NULL, "
    "result_id INTEGER NOT NULL, at_ms INTEGER NOT NULL, person VARCHAR NOT NULL, words VARCHAR NOT NULL, "
    "PRIMARY KEY (id), FOREIGN KEY(run_id) REFERENCES runs (id), FOREIGN KEY(result_id) REFERENCES results (id))",
    "CREATE INDEX ix_vouchers_shaft ON vouchers (shaft)",
    "ALTER TABLE runs ADD COLUMN origin VARCHAR NOT NULL DEFAULT 'measured'",
    "ALTER TABLE decisions ADD COLUMN concerns VARCHAR NOT NULL DEFAULT '[]'",
    "ALTER TABLE decisions ADD COLUMN basis_id INTEGER REFERENCES bases (id)",
    "ALTER TABLE suspects ADD COLUMN run_id INTEGER REFERENCES runs (id)",
)
AT_ONCE = 1000  # results in memory: each has some kilobytes
IMPORTED = "made again from archives"  # the name of the batch that got runs a database had never seen


def upgrade() -> None:
    """Add tables and columns, and fill them from what stands there."""
    for change in CHANGES:
        op.execute(change)
    connection = op.get_bind()
    only_grows(connection, "bases", "supersessions", "vouchers")
    with may_change(connection, "runs", "decisions", "suspects"):
        connection.exec_driver_sql(
            "UPDATE runs SET origin = 'imported' WHERE batch_id IN (SELECT id FROM batches WHERE name = ?)", (IMPORTED,)
        )
        _fill_suspects(connection)
        _fill_decisions(connection)
    _fill_supersessions(connection)


def _fill_suspects(connection: Connection) -> None:
    """The measurement in doubt is the one by which the shaft's night judged it last."""
    connection.exec_driver_sql(
        "UPDATE suspects SET run_id = (SELECT results.run_id FROM steps JOIN results ON results.id = steps.result_id "
        "WHERE steps.passage_id = suspects.passage_id ORDER BY steps.id DESC LIMIT 1)"
    )


def _fill_supersessions(connection: Connection) -> None:
    tips: dict[int, list[Any]] = {}
    for run in connection.exec_driver_sql("SELECT id, shaft, origin, archive, byte_offset FROM runs ORDER BY id"):
        before = tips.setdefault(run.shaft, [])
        gone = [other for other in before if _supersedes(run, other)]
        for other in gone:
            connection.exec_driver_sql("INSERT INTO supersessions VALUES (?, ?)", (run.id, other.id))
        tips[run.shaft] = [other for other in before if other not in gone] + [run]


def _supersedes(run: Any, other: Any) -> bool:
    if run.origin == "measured":
        return True
    return bool(
        other.origin == "imported" and other.archive == run.archive and other.byte_offset < run.byte_offset
    )  # fmt: skip


def _fill_decisions(connection: Connection) -> None:
    bases: dict[str, int] = {}
    ways = _ways(connection)
    last = 0
    while rows := connection.exec_driver_sql(
        "SELECT results.id, runs.shaft, runs.batch_id, decisions.reasons, results.full FROM results "
        "JOIN runs ON runs.id = results.run_id JOIN decisions ON decisions.result_id = results.id "
        "WHERE results.id > ? ORDER BY results.id LIMIT ?",
        (last, AT_ONCE),
    ).all():
        for row in rows:
            basis = ways.get((row.shaft, row.batch_id))
            if basis is not None and basis not in bases:
                bases[basis] = len(bases) + 1
                connection.exec_driver_sql("INSERT INTO bases (id, content) VALUES (?, ?)", (bases[basis], basis))
            found = json.dumps([*_found(_known(row.reasons, list), _known(row.full, dict))])
            connection.exec_driver_sql(
                "UPDATE decisions SET concerns = ?, basis_id = ? WHERE result_id = ?",
                (found, None if basis is None else bases[basis], row.id),
            )
        last = rows[-1].id


def _known(text: str | None, kind: type[Any]) -> Any:
    """What JSON of a row says; nothing where it is damaged: whoever reads that row later is told."""
    try:
        value = json.loads(text or "null")
    except ValueError:
        return kind()
    return value if isinstance(value, kind) else kind()


def _ways(connection: Connection) -> dict[tuple[int, int], str]:
    """By shaft and batch: bands, crack limit and role under which a night judged it, as JSON."""
    found = {}
    plans = {
        row.id: (row.batch_id, _known(row.plan, dict))
        for row in connection.exec_driver_sql('SELECT id, batch_id, "plan" FROM nights')
    }
    for row in connection.exec_driver_sql("SELECT id, night_id, standard FROM passages"):
        batch, plan = plans[row.night_id]
        bars = [bar for bar in plan.get("standard", ()) if bar["name"] == row.standard]
        basis = {
            "night": row.night_id,
            "bands": plan.get("bands"),
            "crack_hysteresis_pct": plan.get("sort", {}).get("crack_hysteresis_pct"),
            "standard": row.standard,
            "assigned_thou": bars[0]["assigned_thou"] if bars else None,
            "u_assigned_thou": bars[0]["u_assigned_thou"] if bars else None,
            "person": None,
        }
        found[row.id, batch] = json.dumps(basis, sort_keys=True)
    return found


def _found(reasons: list[Any], result: dict[str, Any]) -> Iterator[list[str]]:
    yield from (["crack", words] for words in reasons if str(words).startswith("CRACK_SUSPECTED"))
    faults, doubts = result.get("faults") or (), result.get("doubts") or ()
    yield from (["fault", words] for words in faults) if faults else (["doubt", words] for words in doubts)
