"""Run a sweep: block after block, here or on a cluster, and keep each as soon as it is done.

In: a sweep and where to keep it. Out: its store, filled. A block is the same work wherever it is
done and whatever was done before, so that a run that is stopped, split into parts or spread over
a cluster ends with the same store as one that is not.
"""

import contextlib
import itertools
import logging
import math
import multiprocessing
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from functools import partial
from pathlib import Path
from threading import Event
from typing import Any

from tqdm import tqdm

from reedbore import stopping
from reedbore.errors import ModelError, ReedboreError
from reedbore.kernel.executor import CPU, CpuLanes, Executor, machine
from reedbore.model.setup import Setup
from reedbore.notes import cents, simple_ratios
from reedbore.simulate.acoustics.beforehand import Fitters
from reedbore.simulate.acoustics.rational import one_thread
from reedbore.simulate.lungs import breathing
from reedbore.simulate.many import Setups
from reedbore.verdict import lock_edges, singer
from reedbore.verdict.cells import Cell, judge_all
from reedbore.verdict.questions import Progress
from reedbore.verdict.result import SIMPLE
from reedbore.verdict.state import EdgeState, Reason, State, broke_down
from reedbore.verdict.sweep import store, table
from reedbore.verdict.sweep.axes import check
from reedbore.verdict.sweep.cells import (
    Block,
    Judge,
    Values,
    as_letters,
    blank,
    block_shape,
    count_bores,
    judge_block,
    judge_blocks,
)
from reedbore.verdict.sweep.plan import EDGES, EdgePlan, Sweep, check_model
from reedbore.verdict.sweep.table import Task

NEAR_CENTS = 100.0
"""A ratio whose just note lies so far outside the sung axis may still reach into it. [cents]"""

BLOCKS_EACH = 2
"""Fewer blocks for a process are not worth its start."""

FITS_EACH = 16
"""Fewer fits for a process are not worth its start."""

GROUPS_AT_ONCE = 4
"""So many groups of blocks keep a card busy: one is stepped while others are fitted and judged."""

TELLS_S = 0.3
"""How often it is told how far the blocks under way are. [s]"""

AHEAD = 64
"""Blocks that a cluster is given ahead at least, so that it never waits."""

RATIOS = tuple(simple_ratios(SIMPLE))
"""At which edges are looked for."""

Seek = Callable[..., Sequence["lock_edges.Sought | None"]]
Work = Callable[..., Values]
Tell = Callable[[int], None]
"""Told how many cells of the blocks under way are done."""

Deal = Callable[[Sequence[Task], Work, Tell], Iterator[tuple[Task, Values]]]


def edge_plan(sweep: Sweep) -> EdgePlan:
    """Return which edges are kept: folds are asked more coarsely than a clock."""
    folded = sweep.setup.voice.folded
    return EdgePlan(RATIOS, singer.FINENESS if folded else lock_edges.NARROWEST_CENTS)


def sought(
    setup: Setup,
    voice_off_hz: float,
    ratios: Sequence[lock_edges.Ratio],
    *,
    progress: Progress | None = None,
    executor: Executor = CPU,
) -> list[lock_edges.Sought | None]:
    """Find lock ranges: of a clock, or of what a singer with folds aims at."""
    seek = singer.aims_at if setup.voice.folded else lock_edges.edges_of
    return seek(setup, voice_off_hz, ratios, progress=progress, executor=executor)


def run(
    sweep: Sweep,
    path: Path,
    *,
    edges: bool = False,
    part: tuple[int, int] = (1, 1),
    cluster: str | None = None,
    on: str = "cpu",
    processes: int = 1,
    helpers: int = 1,
    judge: Judge | None = None,
    seek: Seek | None = None,
) -> None:
    """Do all that is still to be done.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    path : Path
        The store; made if it is not there.
    edges : bool
        Whether to find the edges of the locks along the sung axis too.
    part : (int, int)
        Which of how many equal parts of the blocks, counted from 1.
    cluster : str, optional
        Address of a dask.distributed scheduler whose workers have the same reedbore; by default
        the work is done here, on all cores.
    on : str
        Which machine steps the cells here: one of `executor.ON`.
    processes : int
        Between how many of them the blocks are dealt out here, if there are several for each;
        with one, between threads. A program of yours that asks for more than one must keep its
        own start under ``if __name__ == "__main__"``.
    helpers : int
        So many processes at most help where threads do the rest: they fit bores, or drive a card
        too; the same holds for them.
    judge, seek : callable
        What judges cells and finds edges, instead of the simulation.

    Raises
    ------
    ReedboreError
        If there is anything wrong with the sweep, the store is another sweep's or cannot be
        written, or the cluster is lost.
    """
    check(sweep, edges=edges)
    # A card that stands here is not the workers'.
    executor = machine("cpu" if cluster and on == "auto" else on, math.prod(sweep.shape))
    store.prepare(path, sweep, edge_plan(sweep) if edges else None)
    # What others judge with may mind threads.
    threads = 1 if cluster or judge else executor.threads
    cells = math.prod(sweep.shape)
    deal, each = _dealt(
        executor, cells // math.prod(block_shape(sweep)), processes, threads, cluster
    )
    # A card is full at many lanes, and what steps few of them takes as long.
    card = not (isinstance(each, CpuLanes) or judge or cluster)
    drivers = max(min(helpers, each.processes, cells // each.width), 1) if card else 1
    fitters = min(helpers, count_bores(sweep) // FITS_EACH)
    judges = judge or partial(judge_all, executor=each.shared(drivers))
    with contextlib.ExitStack() as beside:
        if fitters > 1 and processes == drivers == 1 and not (judge or cluster):
            judges = partial(_fitted, beside.enter_context(Fitters(fitters)), judges)
        if card:
            work = partial(judge_blocks, sweep, judge=judges)
            deal = partial(_in_groups, work=work, cells=each.width, processes=drivers)
        fill(path, "cells", part, deal, partial(judge_block, sweep, judge=judges))
    if edges:
        assert sweep.sung_axis is not None
        columns = cells // len(sweep.sung_axis.values)
        threads = 1 if seek else threads
        deal, each = _dealt(executor, columns, processes, threads, cluster)
        judges = judge or partial(judge_all, executor=each)
        seeks = seek or partial(sought, executor=each)
        fill(path, "edges", part, deal, partial(find_edges, sweep, judge=judges, seek=seeks))


def _fitted(
    fitters: Fitters, judge: Judge, setups: Sequence[Setup], *notes: Any, **how: Any
) -> Sequence[Cell]:
    """Judge setups whose bores were fitted before."""
    fitters.fit(Setups.of(setups).kinds)
    return judge(setups, *notes, **how)


def _dealt(
    executor: Executor, blocks: int, processes: int, threads: int, cluster: str | None
) -> tuple[Deal, Executor]:
    """Choose how about so many blocks are dealt out, and the machine that each is given."""
    few = blocks < BLOCKS_EACH * processes
    if cluster or few or not isinstance(executor, CpuLanes):
        processes = 1
    threads = 1 if processes > 1 else max(min(threads, blocks), 1)
    if isinstance(executor, CpuLanes) and max(threads, processes) > 1:
        executor = executor.shared(max(threads, processes))
    return partial(deal_out, cluster=cluster, processes=processes, threads=threads), executor


def find_edges(
    sweep: Sweep, block: Block, *, judge: Judge, seek: Seek, progress: Progress | None = None
) -> Values:
    """Find the lock ranges of all ratios that lie along the sung axis.

    Parameters
    ----------
    sweep : Sweep
        What is swept.
    block : tuple of slice
        One value of each other axis, and all ratios.
    judge, seek : callable
        As for `run`.
    progress : callable, optional
        Is told the share that is done.

    Returns
    -------
    dict
        An array in the shape of the block for each of `EDGES`.
    """
    check_model(sweep)
    shape = tuple(part.stop - part.start for part in block)
    out = blank(EDGES, shape)
    flat = {name: array.reshape(-1, *array.shape[len(shape) :]) for name, array in out.items()}
    flat["edge_state"][:] = EdgeState.ELSEWHERE.code
    try:
        setup = _column(sweep, block)
        alone = judge([_silenced(sweep, setup)], [sweep.fingered.hz])[0]
    except ModelError as error:
        return _none(out, EdgeState.FAILED, "; ".join(str(error).splitlines()))
    if alone.state == State.FAILED:
        return _none(out, EdgeState.FAILED, alone.reason)
    if not alone.played_hz > 0.0 or alone.period > 1:
        return _none(out, EdgeState.NO_LOCK, None)
    flat["edge_just_hz"][:] = [alone.played_hz * p / q for p, q in RATIOS]
    near = [k for k, hz in enumerate(flat["edge_just_hz"]) if _along(sweep, hz)]
    ratios = [RATIOS[k] for k in near]
    found = _each_sought(partial(seek, setup, alone.played_hz, progress=progress), ratios)
    for k, one in zip(near, found, strict=True):
        _keep(flat, k, one, edge_plan(sweep).narrowest)
    return out


def _none(out: Values, state: EdgeState, reason: str | None) -> Values:
    """Say of all ratios that nothing was searched, and why."""
    out["edge_state"][...], out["edge_reason"][...] = state.code, as_letters(reason)
    return out


def _each_sought(
    seek: Callable[[Sequence[lock_edges.Ratio]], Sequence["lock_edges.Sought | None"]],
    ratios: Sequence[lock_edges.Ratio],
) -> list["lock_edges.Sought | str"]:
    """Search side by side; one that diverges or breaks down is found, and fails alone: it says why.

    What is wrong with the setup itself breaks down at each.
    """
    try:
        return [Reason.DIVERGED if one is None else one for one in seek(ratios)]
    except (ArithmeticError, LookupError, ValueError) as error:
        if len(ratios) == 1:
            return [broke_down(error)]
        middle = len(ratios) // 2
        return [*_each_sought(seek, ratios[:middle]), *_each_sought(seek, ratios[middle:])]


def _silenced(sweep: Sweep, setup: Setup) -> Setup:
    """Leave the voice out of a setup; given lungs blow as for the lowest note of the sung axis."""
    assert sweep.sung_axis is not None
    with contextlib.suppress(ModelError):
        setup = breathing(lock_edges.sung_at(setup, sweep.sung_hz(sweep.sung_axis.values[0])))
    return setup.with_value("voice.source", "off")


def _column(sweep: Sweep, block: Block) -> Setup:
    """Make the setup that a block of edges has, but for the sung note."""
    steps = iter(block)
    at = [
        None if axis is sweep.sung_axis else axis.values[next(steps).start] for axis in sweep.axes
    ]
    return sweep.cell(at)


def _along(sweep: Sweep, hz: float) -> bool:
    """Say whether a sung note lies along the sung axis or near its ends."""
    assert sweep.sung_axis is not None
    low, high = (sweep.sung_hz(sweep.sung_axis.values[end]) for end in (0, -1))
    return cents(hz, low) > -NEAR_CENTS and cents(hz, high) < NEAR_CENTS


def _keep(flat: Values, place: int, found: "lock_edges.Sought | str", narrowest: float) -> None:
    """Keep what was found at one ratio, or why nothing was."""
    if isinstance(found, str) or found.unsung:
        failed = isinstance(found, str)
        flat["edge_state"][place] = (EdgeState.FAILED if failed else EdgeState.UNSUNG).code
        flat["edge_reason"][place] = as_letters(found if isinstance(found, str) else found.unsung)
        return
    flat["edge_state"][place] = EdgeState.NO_LOCK.code
    if found.edges:
        low, high = found.edges
        narrow = lock_edges.width(found.edges) < narrowest
        flat["edge_state"][place] = (EdgeState.NARROW if narrow else EdgeState.LOCK).code
        flat["edge_low_cents"][place], flat["edge_high_cents"][place] = low.inside, high.inside
        flat["edge_low_outside_cents"][place] = low.outside
        flat["edge_high_outside_cents"][place] = high.outside


# --- block after block ---------------------------------------------------------------------------


def deal_out(
    to_do: Sequence[Task],
    work: Work,
    tell: Tell,
    *,
    cluster: str | None,
    processes: int,
    threads: int = 1,
) -> Iterator[tuple[Task, Values]]:
    """Do tasks: on a cluster, in processes, in threads, or here."""
    if cluster:
        return _spread(iter(to_do), work, cluster)
    if processes > 1:
        return _in_processes(to_do, work, processes)
    if threads > 1:
        return _in_threads(to_do, work, threads, tell)
    return _one_by_one(to_do, work, tell)


def fill(path: Path, name: str, part: tuple[int, int], deal: Deal, work: Work) -> None:
    """Do all blocks of a table that are still to be done, dealt out, and tell how far it is."""
    total, left = 0, []
    for task, there in table.tasks(path, name, part):
        total += task.cells
        if not there:
            left.append(task)
    if not left:
        return
    done = total - sum(task.cells for task in left)
    with _bar(name, total, done) as bar:

        def tell(under_way: int) -> None:
            bar.update(done + under_way - bar.n)

        for task, values in deal(left, work, tell):
            table.write(path, task, values)
            done += task.cells
            bar.update(max(done - bar.n, 0))


def _bar(name: str, total: int, done: int) -> Any:
    """Make the line on stderr that tells how far it is; in a file, one now and then."""
    unit = " cells" if name == "cells" else " ratios"
    shown = "{percentage:3.0f} % of {total_fmt}" + unit + ", {rate_fmt}, {remaining} left"
    seldom = 0.3 if sys.stderr.isatty() else 30.0
    return tqdm(
        total=total, initial=done, bar_format=shown, unit=unit, mininterval=seldom,
        file=sys.stderr,
    )  # fmt: skip


def _in_processes(
    to_do: Sequence[Task], work: Work, processes: int
) -> Iterator[tuple[Task, Values]]:
    """Let processes of their own do the tasks, as many at a time.

    The first is done here meanwhile: what it compiles and fits the others find.
    """
    with multiprocessing.get_context("spawn").Pool(processes, _settle) as pool:
        first, *rest = to_do
        yield first, work(first.block)
        yield from pool.imap_unordered(partial(_done, work), rest)


def _settle() -> None:
    """Begin a process that does tasks: no more of them than cores, each on one core.

    Ctrl-C ends the process that deals the work out; it then ends this one.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    one_thread().__enter__()


def _done(work: Work, task: Task) -> tuple[Task, Values]:
    return task, work(task.block)


def _in_threads(
    to_do: Sequence[Task], work: Work, threads: int, tell: Tell
) -> Iterator[tuple[Task, Values]]:
    """Let threads do the tasks, as many at a time; who asks for them writes meanwhile.

    So a block is fitted and judged while others are stepped, and no core and no card waits.
    """

    def one(some: Sequence[Block], progress: Progress) -> list[Values]:
        return [work(block, progress=progress) for block in some]

    return _side_by_side([[task] for task in to_do], one, threads, tell)


def _in_groups(
    to_do: Sequence[Task],
    _: Work,
    tell: Tell,
    *,
    work: Callable[..., list[Values]],
    cells: int,
    processes: int = 1,
) -> Iterator[tuple[Task, Values]]:
    """Do tasks together, about so many cells at a time: a few threads, or processes.

    Threads that judge wait for Python's lock, and the card for them.
    """
    each = max(cells // max(to_do[0].cells, 1), 1)
    groups = [to_do[first : first + each] for first in range(0, len(to_do), each)]
    if processes > 1:
        return _groups_in_processes(groups, work, processes)
    return _side_by_side(groups, work, min(GROUPS_AT_ONCE, len(groups)), tell)


def _groups_in_processes(
    groups: Sequence[Sequence[Task]], work: Callable[..., list[Values]], processes: int
) -> Iterator[tuple[Task, Values]]:
    with multiprocessing.get_context("spawn").Pool(processes, _settle) as pool:
        for group, found in pool.imap_unordered(partial(_group_done, work), groups):
            yield from zip(group, found, strict=True)


def _group_done(
    work: Callable[..., list[Values]], group: Sequence[Task]
) -> tuple[Sequence[Task], list[Values]]:
    return group, work([task.block for task in group])


def _side_by_side(
    groups: Sequence[Sequence[Task]], work: Callable[..., list[Values]], threads: int, tell: Tell
) -> Iterator[tuple[Task, Values]]:
    """Let threads do groups of tasks, as many at a time."""
    given_up, shares = Event(), dict[tuple[int, ...], int]()

    def done(group: Sequence[Task]) -> list[tuple[Task, Values]]:
        cells = sum(task.cells for task in group)

        def progress(share: float) -> None:
            shares[group[0].place] = int(share * cells)

        found = work([task.block for task in group], progress=progress)
        return list(zip(group, found, strict=True))

    left, running = iter(groups), set[Future[list[tuple[Task, Values]]]]()
    with one_thread():  # of linear algebra, in each of them
        pool = ThreadPoolExecutor(threads, "block", stopping.wanted.set, (given_up,))
        try:
            while True:
                new = itertools.islice(left, threads + 1 - len(running))
                running |= {pool.submit(done, group) for group in new}
                if not running:
                    return
                finished, running = wait(running, TELLS_S, return_when=FIRST_COMPLETED)
                for future in finished:
                    group = future.result()
                    shares.pop(group[0][0].place, None)
                    yield from group
                tell(sum(shares.copy().values()))
        finally:
            given_up.set()
            pool.shutdown(cancel_futures=True)


def _one_by_one(to_do: Sequence[Task], work: Work, tell: Tell) -> Iterator[tuple[Task, Values]]:
    """Do all tasks here; each uses all cores."""
    for task in to_do:

        def progress(share: float, cells: int = task.cells) -> None:
            tell(int(share * cells))

        yield task, work(task.block, progress=progress)


def _spread(to_do: Iterator[Task], work: Work, address: str) -> Iterator[tuple[Task, Values]]:
    """Let a cluster do the tasks; by itself it repeats what was lost with a worker."""
    try:
        import distributed  # noqa: PLC0415 - an extra
    except ImportError as error:
        needed = "--cluster needs dask.distributed: pip install 'reedbore[cluster]'"
        raise ReedboreError(needed) from error
    try:
        client = distributed.Client(address, timeout=10)
    except (OSError, ValueError) as error:
        raise ReedboreError(f"--cluster {address} cannot be reached ({error})") from error
    gone = (
        distributed.KilledWorker,
        distributed.CancelledError,
        distributed.comm.core.CommClosedError,
        TimeoutError,
    )
    # It would tell the same again, in many lines.
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
    given: dict[Any, Task] = {}
    with client:
        pool = distributed.as_completed()
        for task in itertools.islice(to_do, max(AHEAD, 2 * sum(client.nthreads().values()))):
            _give(client, pool, given, task, work)
        for future in pool:
            try:
                yield given.pop(future), future.result()
            except gone as error:
                lost = f"the cluster at {address} was lost; the same command goes on"
                raise ReedboreError(lost) from error
            for task in itertools.islice(to_do, 1):
                _give(client, pool, given, task, work)


def _give(client: Any, pool: Any, given: dict[Any, Task], task: Task, work: Work) -> None:
    future = client.submit(work, task.block, pure=False)
    given[future] = task
    pool.add(future)
