"""The newest answers of the map, kept ready: most readers look at the same view of a plant."""

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock


class KeptAnswers:
    """So many of the last answers by key, for as long as they are asked for more often than others.

    A key must name everything that the answer depends on; then an answer is never old, it is only no longer asked for.

    >>> kept = KeptAnswers(1)
    >>> kept.put("a", b"1"); kept.put("b", b"2")
    >>> kept.get("a"), kept.get("b")
    (None, b'2')
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self._answers: OrderedDict[Hashable, bytes] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable) -> bytes | None:
        """The answer of a key, if it is still kept."""
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
            return self._answers.get(key)

    def put(self, key: Hashable, answer: bytes) -> None:
        """Keep an answer, in the place of the one that was not asked for the longest."""
        with self._lock:
            self._answers[key] = answer
            self._answers.move_to_end(key)
            while len(self._answers) > self.most:
                self._answers.popitem(last=False)
