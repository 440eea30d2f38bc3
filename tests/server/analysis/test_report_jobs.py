"""Reports beside other work: one at a time, kept for whoever asks again, and none begun that would only wait."""

from __future__ import annotations

import threading

import pytest

from server.analysis.report import jobs
from server.analysis.report.jobs import FAILED, MADE, WAITING, Reports, TooMany
from server.analysis.report.telling import WRITING


def told_and_held(gate: threading.Event, content: bytes = b"a report"):
    def make(told):
        told(WRITING, "report.pdf", 1, 2)
        assert gate.wait(20)
        return content

    return make


def test_a_report_says_how_far_it_is_and_is_a_file_when_it_is_made():
    reports, gate = Reports(), threading.Event()
    job = reports.ask("one", told_and_held(gate), 0.05)
    while job.state == WAITING:
        job.over.wait(0.01)
    assert (job.state, job.what, job.done, job.of, job.file) == (WRITING, "report.pdf", 1, 2, None)
    gate.set()
    assert job.over.wait(20)
    assert job.state == MADE
    assert job.file.read_bytes() == b"a report"


def test_who_asks_for_the_same_again_gets_the_same_and_nothing_is_made_twice():
    reports, gate, made = Reports(), threading.Event(), []

    def make(told):
        made.append(1)
        return told_and_held(gate)(told)

    first = reports.ask("one", make)
    assert reports.ask("one", make) is first
    gate.set()
    assert reports.ask("one", make, 20) is first
    assert made == [1]


def test_one_is_made_at_a_time_and_no_more_wait_than_may():
    reports, gate = Reports(), threading.Event()
    begun = [reports.ask(n, told_and_held(gate)) for n in range(jobs.MOST_WAITING)]
    with pytest.raises(TooMany):
        reports.ask("another", told_and_held(gate))
    assert sum(one.state == WRITING for one in begun) <= 1
    gate.set()
    assert all(one.over.wait(20) for one in begun)
    assert reports.ask("another", told_and_held(gate), 20).state == MADE


def test_one_that_could_not_be_made_says_so_and_can_be_tried_again(caplog):
    reports = Reports()

    def fails(told):
        raise OSError("no space left")

    job = reports.ask("one", fails, 20)
    assert job.over.wait(20)
    assert (job.state, job.file) == (FAILED, None)
    assert reports.failed("one")
    assert "a report could not be made" in caplog.text
    gate = threading.Event()
    gate.set()
    assert reports.ask("one", told_and_held(gate), 20).state == MADE
    assert not reports.failed("one")


def test_the_last_few_are_kept_and_all_go_with_the_server():
    reports, gate = Reports(), threading.Event()
    gate.set()
    made = [reports.ask(n, told_and_held(gate, bytes([n])), 20) for n in range(jobs.MOST_KEPT + 3)]
    for one in threading.enumerate():
        if one is not threading.current_thread() and one.daemon and "_run" in one.name:
            one.join(20)
    there = [one.file.exists() for one in made]
    assert there == [False] * 3 + [True] * jobs.MOST_KEPT
    folder = made[-1].file.parent
    del reports, made
    assert not folder.exists()
