"""Work that tells how far it is while it goes on, as a stream of documents.

In: something that blocks and calls back. Out: a generator of what it told; whoever no longer wants
it closes the generator, and the work ends at its next word.
"""

import queue
import threading
from collections.abc import Callable, Iterator, Mapping
from contextvars import copy_context
from typing import Any

from reedbore import stopping

Document = Mapping[str, Any]
Tell = Callable[[Document], None]


def told(work: Callable[[Tell], object]) -> Iterator[Document]:
    """Do work in a thread of its own.

    Parameters
    ----------
    work : callable
        Is given a function that takes a document fit for JSON, and raises `Stopped` once nobody
        wants any more.

    Yields
    ------
    dict
        Each document, as soon as it is told.

    Raises
    ------
    Exception
        Whatever the work raises.
    """
    said: queue.SimpleQueue[Document | Exception | None] = queue.SimpleQueue()
    closed = threading.Event()

    def tell(document: Document) -> None:
        stopping.check()
        if closed.is_set():
            raise stopping.Stopped
        said.put(document)

    def run() -> None:
        try:
            work(tell)
            said.put(None)
        except Exception as error:
            said.put(error)

    threading.Thread(target=copy_context().run, args=(run,), daemon=True).start()
    try:
        while (one := said.get()) is not None:
            if isinstance(one, Exception):
                raise one
            yield one
    finally:
        closed.set()
