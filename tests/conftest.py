"""Set before numpy is loaded: on small problems threads of the linear algebra only get in the way,
of each other and of the other test processes."""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")
