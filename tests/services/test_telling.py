"""What a wire is, in one line: each thing said once."""

from backprobe.services.answer import TerminalAnswer
from backprobe.services.telling import other_roles, role_line


def test_an_undecided_wire_lists_its_roles_once_and_apart() -> None:
    """Some roles hold a comma themselves, so that commas don't tell them apart."""
    roles = {"supply-regulated": 0.47, "signal-switching": 0.4, "signal-analogue": 0.13}
    said = TerminalAnswer("1", "supply-regulated", 0.47, roles)
    assert role_line(said) == (
        "not decided: regulated supply 47 %; signal, switching 40 %; or signal, a voltage 13 %"
    )
    assert other_roles(said) == ""


def test_a_decided_wire_names_what_else_it_may_be() -> None:
    said = TerminalAnswer(
        "1", "supply-regulated", 0.9, {"supply-regulated": 0.9, "signal-switching": 0.1}
    )
    assert role_line(said) == "regulated supply (very likely, 90 %)"
    assert other_roles(said) == "signal, switching 10 %"
