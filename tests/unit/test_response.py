from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from truekev.errors import InputError, OutOfRangeError
from truekev.matter.materials import material
from truekev.transport.response import ROUTES, Accuracy, Birth, Response, line_responses, responses
from truekev.transport.response_store import ResponseStore, response_key
from truekev.transport.setup import DetectorGeometry, Layer, Setup, point_source

SETUP = Setup(DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0), (Layer(material("Al"), 0.5),)), point_source(10.0))
QUICK = Accuracy(0.1, 60_000, 60_000)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> ResponseStore:
    return ResponseStore(tmp_path_factory.mktemp("responses"))


@pytest.fixture(scope="module")
def one(store: ResponseStore) -> Response:
    return line_responses(SETUP, [661.7], accuracy=QUICK, store=store)[0]


def test_response_adds_up(one: Response) -> None:
    peak, total = one.peak_efficiency, one.total_efficiency
    assert one.probability().sum() + peak.value == pytest.approx(total.value)
    assert sum(one.probability(route).sum() for route in ROUTES) == pytest.approx(one.probability().sum())
    assert 0 < peak.relative_u < 0.1
    assert one.u_probability().shape == one.probability().shape == (len(one.bin_edges_kev) - 1,)
    assert one.probability("direct").sum() > one.probability("forward").sum() > 0


def test_light_of_low_deposits_is_above_that_of_high_ones(one: Response) -> None:
    relative = one.mean_d_kev()[50:450] / np.arange(50.5, 450)
    assert relative[:20].mean() > relative[-100:].mean() > -0.01
    assert abs(one.peak_mean_d_kev / 661.7) < 0.005
    assert 3 < np.sqrt(one.peak_variance_d_kev2) < 20
    assert np.all(one.variance_d_kev2() >= 0)


def test_same_bits_for_one_and_two_threads(one: Response, tmp_path: Path) -> None:
    for n in (1, 2):
        with ThreadPoolExecutor(n) as pool:
            again = line_responses(
                SETUP, [661.7], accuracy=QUICK, executor=pool, store=ResponseStore(tmp_path / str(n))
            )[0]
        assert np.array_equal(again.histogram, one.histogram)
        assert np.array_equal(again.peak, one.peak)


class PicklingExecutor(Executor):
    """Carries calls as bytes, as an executor of other processes or machines does; works when asked."""

    def submit(self, fn, /, *args, **kwargs):
        carried = pickle.dumps((fn, args, kwargs))
        future: Future[object] = Future()
        function, positional, named = pickle.loads(carried)
        future.set_result(pickle.loads(pickle.dumps(function(*positional, **named))))
        return future


def test_any_executor_carries_the_work(one: Response, tmp_path: Path) -> None:
    again = line_responses(SETUP, [661.7], accuracy=QUICK, executor=PicklingExecutor(), store=ResponseStore(tmp_path))[
        0
    ]
    assert np.array_equal(again.histogram, one.histogram)


def test_coherent_scattering_leaves_a_photon_direct(tmp_path: Path) -> None:
    """Behind 3 mm of aluminium many 40 keV photons scatter coherently; all full-energy events stay direct."""
    detector = DetectorGeometry("CsI(Tl)", (10.0, 10.0, 10.0), (Layer(material("Al"), 3.0),))
    setup = Setup(detector, point_source(20.0))
    found = line_responses(setup, [40.0], accuracy=QUICK, store=ResponseStore(tmp_path))[0]
    peak = found.peak[:, 0]
    # a Compton scattering by a small angle, or on a fast electron, may lose less than the peak's 1 keV
    assert peak[ROUTES.index("back")] < 1e-3 * peak[ROUTES.index("direct")]
    assert peak[ROUTES.index("forward")] < 0.03 * peak[ROUTES.index("direct")]


def test_from_the_store_without_running(one: Response, store: ResponseStore) -> None:
    calls: list[float] = []
    start = time.perf_counter()
    again = line_responses(SETUP, [661.7], accuracy=QUICK, store=store, progress=lambda f, _: calls.append(f))[0]
    assert time.perf_counter() - start < 0.1
    assert calls == []
    assert np.array_equal(again.histogram, one.histogram)
    assert again.n_histories == one.n_histories


def test_progress_ends_at_one(tmp_path: Path) -> None:
    seen: list[float] = []
    line_responses(
        SETUP, [50.0, 60.0], accuracy=QUICK, store=ResponseStore(tmp_path), progress=lambda f, _: seen.append(f)
    )
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_more_accuracy_runs_longer(tmp_path: Path) -> None:
    accuracy = Accuracy(0.01, 50_000, 600_000, 0.1)
    found = line_responses(SETUP, [661.7], accuracy=accuracy, store=ResponseStore(tmp_path))[0]
    assert found.n_histories > 200_000
    assert found.peak_efficiency.relative_u < 0.012


def test_electrons_in_front_of_a_window_lose_energy(tmp_path: Path) -> None:
    electrons = responses(
        SETUP, [Birth("electron", (900.0, 1000.0, 1100.0))], accuracy=QUICK, store=ResponseStore(tmp_path)
    )[0]
    assert electrons.hits[ROUTES.index("secondary"), 0] == pytest.approx(electrons.total_efficiency.value)
    assert 0.005 < electrons.total_efficiency.value < 0.12
    assert electrons.probability()[900:].sum() < 0.1 * electrons.probability().sum()


@pytest.mark.parametrize("kev", [4.9, 3201.0, float("nan")])
def test_energy_out_of_range(kev: float) -> None:
    with pytest.raises(OutOfRangeError, match="the transport reaches"):
        Birth.line(kev)


def test_bad_spectrum_and_accuracy() -> None:
    with pytest.raises(InputError, match="rise"):
        Birth("electron", (100.0, 50.0))
    with pytest.raises(OutOfRangeError, match="relative"):
        Accuracy(0.0)
    with pytest.raises(OutOfRangeError, match="histories"):
        Accuracy(0.01, 10, 5)
    with pytest.raises(OutOfRangeError, match="share"):
        Accuracy(0.01, elsewhere_share=-1.0)


def test_interrupt_cancels_what_waits(tmp_path: Path) -> None:
    def stop(_fraction: float, _what: str) -> None:
        raise KeyboardInterrupt

    start = time.perf_counter()
    store = ResponseStore(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        line_responses(SETUP, [661.7], accuracy=Accuracy(0.001, 20_000_000, 20_000_000), store=store, progress=stop)
    assert time.perf_counter() - start < 10
    assert not list(tmp_path.glob("*.response"))


def test_damaged_file_counts_as_absent(tmp_path: Path) -> None:
    store = ResponseStore(tmp_path)
    key = response_key("x", 1.0)
    assert store.get(key) is None
    assert store.put(key, a=np.arange(5.0))
    file = next(tmp_path.glob("*.response"))
    file.write_bytes(file.read_bytes()[:-40])
    assert store.get(key) is None


def test_folder_that_cannot_be_written_only_costs_time(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    store = ResponseStore(tmp_path / "file" / "below")
    assert not store.put("key", a=np.zeros(3))
    assert store.get("key") is None


def test_keys_differ_by_every_part_of_the_definition() -> None:
    keys = {
        response_key(SETUP, Birth.line(661.7), QUICK, 1),
        response_key(SETUP, Birth.line(661.8), QUICK, 1),
        response_key(SETUP, Birth.line(661.7), QUICK, 2),
        response_key(SETUP, Birth.line(661.7), Accuracy(0.1, 60_000, 60_001), 1),
        response_key(Setup(SETUP.detector, point_source(10.1)), Birth.line(661.7), QUICK, 1),
    }
    assert len(keys) == 5


WRITER = """
import sys, numpy as np
from truekev.transport.response_store import ResponseStore
store = ResponseStore(sys.argv[1])
print("ready", flush=True)
i = 0
while True:
    store.put("shared", content=np.full(200_000, float(i)))
    i += 1
"""


@pytest.mark.parametrize("delay_s", [0.0, 0.013, 0.029])
def test_kill_in_mid_write_leaves_whole_files(tmp_path: Path, delay_s: float) -> None:
    """Thinned; studies/transport_reference.py kills a hundred times."""
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)], stdout=subprocess.PIPE) for _ in range(2)
    ]
    store = ResponseStore(tmp_path)
    for writer in writers:
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"ready\n"
    deadline = time.monotonic() + 10
    while store.get("shared") is None and time.monotonic() < deadline:
        os.sched_yield()
    end = time.monotonic() + delay_s
    while time.monotonic() < end:
        os.sched_yield()
    for writer in writers:
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        assert writer.stdout is not None
        writer.stdout.close()
    kept = store.get("shared")
    assert kept is not None
    assert np.all(kept["content"] == kept["content"][0])
    assert store.put("shared", content=np.zeros(3))
