"""The random rigs and the second opinions of the model's own tests serve here too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "host" / "model"))
