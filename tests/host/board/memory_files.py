"""`board.files.Files` in memory, whose power can be cut before any operation."""

from __future__ import annotations

from steadyturn.board.files import Missing, sha256
from steadyturn.board.stream import gone
from steadyturn.errors import Failed


class MemoryFiles:
    def __init__(self, content: dict[str, bytes] | None = None, cut_at: int = -1) -> None:
        self.content = dict(content or {})
        self.cut_at = cut_at
        self.steps = 0
        self.folders: set[str] = set()
        self.restarts = 0
        self.mpy = 0  # reads source only
        self.torn = True  # a write that is cut leaves half a file

    def _step(self) -> None:
        if self.steps == self.cut_at:
            raise gone("memory")
        self.steps += 1

    def mpy_version(self) -> int:
        return self.mpy

    def hashes(self, folder: str) -> dict[str, str]:
        return {p: sha256(d) for p, d in self.content.items() if p.startswith(folder + "/")}

    def read(self, path: str) -> bytes:
        if path not in self.content:
            raise Missing(path)
        return self.content[path]

    def write(self, path: str, data: bytes) -> None:
        if self.torn and self.steps == self.cut_at:
            self.content[path] = data[: len(data) // 2]
        self._step()
        self.content[path] = data

    def rename(self, old: str, new: str) -> None:
        self._step()
        below = [path for path in self.content if path.startswith(old + "/")]
        if not below:
            self.content[new] = self.content.pop(old)
        elif any(path.startswith(new + "/") for path in self.content):
            raise Failed(f"{new}: not empty")
        for path in below:
            self.content[new + path.removeprefix(old)] = self.content.pop(path)

    def remove(self, path: str) -> None:
        self._step()
        if any(name.startswith(path + "/") for name in self.content):
            raise Failed(f"{path}: not empty")
        if self.content.pop(path, None) is None and path not in self.folders:
            raise Missing(path)

    def mkdir(self, path: str) -> None:
        self._step()
        self.folders.add(path)

    def restart(self) -> None:
        self.restarts += 1

    def close(self) -> None:
        pass
