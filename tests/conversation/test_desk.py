"""A desk: the first answer counts, a late one starts nothing, and everybody sees the same."""

from threading import Thread

import pytest
from midspan.base.errors import ReadingsError
from midspan.conversation.desk import KEPT_NOTICES, Desk, DeskNotice, NoticeKind, Posted
from midspan.conversation.prompts import Answer, Prompt, PromptChoice

LAY = Prompt("lay next", "Lay the next shaft in.", (PromptChoice("start", "", "measure"),), text="a label")


def answering(desk: Desk, *lines: str) -> list[Posted]:
    """Answer each prompt with the next line; the prompts that were seen come back."""
    seen: list[Posted] = []

    def watcher(shown: DeskNotice | Posted | None) -> None:
        if isinstance(shown, Posted):
            seen.append(shown)
            desk.answer(shown.serial, lines[len(seen) - 1])

    desk.watch(watcher)
    return seen


def test_an_answer_from_another_thread_ends_the_wait() -> None:
    desk = Desk()
    posted: list[Posted] = []
    desk.watch(lambda shown: posted.append(shown) if isinstance(shown, Posted) else None)
    found: list[Answer] = []
    asker = Thread(target=lambda: found.append(desk.ask(LAY)))
    asker.start()
    while not posted:
        asker.join(0.01)
    assert desk.posted() == posted[0]
    desk.answer(posted[0].serial, "")
    asker.join(5)
    assert found == [Answer("start")]
    assert desk.posted() is None


def test_only_the_first_answer_counts() -> None:
    desk = Desk()
    late: list[str] = []

    def two_clients(shown: DeskNotice | Posted | None) -> None:
        if isinstance(shown, Posted):
            desk.answer(shown.serial, "blue 7")
            assert desk.posted() is None
            with pytest.raises(ReadingsError) as refused:
                desk.answer(shown.serial, "")
            late.append(refused.value.code)

    desk.watch(two_clients)
    assert desk.ask(LAY) == Answer(text="blue 7")
    assert late == ["stale_answer"]


def test_an_answer_to_the_question_before_starts_nothing() -> None:
    desk = Desk()
    seen = answering(desk, "", "")
    desk.ask(LAY)
    desk.ask(LAY)
    assert seen[0].serial != seen[1].serial
    with pytest.raises(ReadingsError) as refused:
        desk.answer(seen[0].serial, "")
    assert refused.value.code == "stale_answer"


def test_a_line_that_is_no_choice_leaves_the_question_open() -> None:
    desk = Desk()

    def watcher(shown: DeskNotice | Posted | None) -> None:
        if isinstance(shown, Posted):
            with pytest.raises(ReadingsError) as refused:
                desk.answer(shown.serial, "x")
            assert refused.value.code == "no_choice"
            assert desk.posted() == shown
            desk.answer(shown.serial, "Y")

    desk.watch(watcher)
    assert desk.ask(Prompt("sure", "Sure?", (PromptChoice("yes", "y", "yes"),))) == Answer("yes")


def test_nobody_left_to_answer_is_an_error_with_a_code() -> None:
    desk = Desk()
    desk.watch(lambda shown: desk.leave("the input ended") if isinstance(shown, Posted) else None)
    with pytest.raises(ReadingsError) as error:
        desk.ask(LAY)
    assert error.value.code == "left"
    assert desk.posted() is None


def test_a_client_gets_what_it_has_not_seen() -> None:
    desk = Desk()
    desk.say("a")
    desk.tell(NoticeKind.VERDICT, "shaft 1 accepted", ("ACCEPTED",))
    first, second = desk.notices()
    assert (first.words, second.large) == ("a", ("ACCEPTED",))
    assert desk.notices(first.serial) == [second]
    assert desk.notices(second.serial) == []


def test_old_notices_make_room() -> None:
    desk = Desk()
    for number in range(KEPT_NOTICES + 20):
        desk.say(str(number))
    kept = desk.notices()
    assert (len(kept), kept[0].words) == (KEPT_NOTICES, "20")


def test_a_client_whose_screen_is_gone_stops_nothing() -> None:
    desk = Desk()

    def gone(_: object) -> None:
        raise BrokenPipeError

    desk.watch(gone)
    desk.say("a")
    assert [notice.words for notice in desk.notices()] == ["a"]
