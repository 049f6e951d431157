"""The interface keeps to its own description, whatever it is sent.

Requests are made from /api/openapi.json by Schemathesis, a general-purpose tester of interfaces
that are described by OpenAPI: no 5xx, no status or body that the description doesn't have.
BACKPROBE_SCHEMA_EXAMPLES asks for more requests a path and method than the test run takes.
"""

import os
from pathlib import Path

from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

EXAMPLES = int(os.environ.get("BACKPROBE_SCHEMA_EXAMPLES", "12"))
FILE = Path(__file__).parents[2] / "examples" / "half-a-sheet.toml"
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
