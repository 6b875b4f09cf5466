"""What is said of fleets that are judged past one machine."""

from typing import Final

NOT_INSTALLED: Final = "a cluster needs the extra `cluster`: pip install 'cranktrend[cluster]'"
NO_SCHEDULER: Final = "no scheduler answers at {address}; start one, or name another with --scheduler"
NO_ADDRESS: Final = "--scheduler is {address!r}, which is no address; allowed is as tcp://10.0.0.1:8786"
NO_WORKER: Final = "the scheduler at {address} has no worker; start some, then try again"
OTHER_PROGRAM: Final = "worker {worker} runs another version of cranktrend than this machine; install the same on both"
KILLED: Final = (
    "workers ended again and again over the same partition, most likely for want of memory: export with fewer vehicles"
)
LOST: Final = "the scheduler went away; the folder is as it was, try again"
NEEDS_SCHEDULER: Final = "--engine dask needs the address of its scheduler, as --scheduler tcp://10.0.0.1:8786"
NEEDS_DASK: Final = "--scheduler {address} belongs to --engine dask"
