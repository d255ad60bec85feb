"""Arrays of numbers, and linear algebra that gives the same digits on every machine."""

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import numpy.typing as npt
from threadpoolctl import threadpool_limits

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@contextmanager
def one_thread() -> Iterator[None]:
    """A context in which linear algebra runs on one thread.

    The matrices here are small: threads that wait for each other cost more than they save (twice
    the time on two busy cores), and one thread gives the same digits on every machine.
    """
    with threadpool_limits(limits=1, user_api="blas"):
        yield
