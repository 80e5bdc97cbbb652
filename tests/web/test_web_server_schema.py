"""The API keeps to its own OpenAPI document, asked with values that fit it and values that do not."""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from phonesite import ReadOnce
from serving import GOOD, Inside

from strandgauge.logbook.book import open_logbook
from strandgauge.web.app import create_app
from strandgauge.web.settings import Limits, ServerSettings

if TYPE_CHECKING:
    import schemathesis
    from schemathesis import GenerationMode


@pytest.fixture(scope="module")
def api(tmp_path_factory) -> Iterator[schemathesis.BaseSchema]:
    import schemathesis

    generous = Limits(requests_burst=100_000, uploads_burst=100_000)
    with open_logbook(tmp_path_factory.mktemp("schema") / "logbook.sqlite3") as book:
        made = create_app(
            ServerSettings(names=("localhost", "testserver"), limits=generous),
            logbook=book,
            workers=ReadOnce(),
        )
        inside = Inside(made)
        client = inside.post("/api/clients", json={"alias": "Juniper"}).json()["id"]
        visit = inside.post(f"/api/clients/{client}/visits", json={}).json()["id"]
        strand = inside.post(f"/api/visits/{visit}/strands", json={"name": "crown"}).json()["id"]
        look = inside.look(GOOD.read_bytes(), strand=strand).json()["check"]
        assert (client, visit, strand, look) == (1, 1, 1, 1)
        yield schemathesis.openapi.from_asgi("/api/openapi.json", made)


def test_the_api_keeps_to_its_document(api):
    from schemathesis import GenerationMode

    operations = [found.ok() for found in api.get_all_operations()]
    answered = Counter()
    operations.sort(key=lambda one: one.method == "delete")  # which leaves nothing to ask for
    for operation in operations:
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
            with contextlib.suppress(Unsatisfiable):  # nothing about this operation can be wrong
                _ask(operation, mode, answered)
    assert len(operations) == 17
    # Each was answered in good faith at least once, but for photos, which no generator makes.
    assert {label for label, status in answered if status < 400} >= {
        operation.label for operation in operations if operation.label not in UNLIKELY
    }
    assert sum(answered.values()) > 300


UNLIKELY = {"POST /api/looks", "GET /api/quick/{key}/picture", "GET /api/strands/{strand_id}/curve"}


def _ask(operation: schemathesis.APIOperation, mode: GenerationMode, answered: Counter) -> None:
    from schemathesis import GenerationMode
    from schemathesis.checks import positive_data_acceptance

    @given(case=operation.as_strategy(generation_mode=mode), known=st.booleans())
    @settings(
        max_examples=15,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def keeps_to_it(case: schemathesis.Case, known: bool) -> None:
        if known and mode is GenerationMode.POSITIVE:
            case.path_parameters = dict.fromkeys(case.path_parameters, 1)
        answer = case.call()
        answered[operation.label, answer.status_code] += 1
        # Left out: a value may fit its schema and mean nothing all the same, such as the name of a shade.
        case.validate_response(answer, excluded_checks=[positive_data_acceptance])

    keeps_to_it()
