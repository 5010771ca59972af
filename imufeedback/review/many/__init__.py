"""Many recordings judged again: in processes of this computer, or by a cluster.

``found`` says which recordings, ``one`` judges one wherever it is told to, ``local`` and ``cluster`` hand recordings
out and take outcomes back as they come, ``table`` makes one table of all reps. Recordings are handed out as paths:
whoever judges one reads it from the shared folder and keeps the verdict beside it. What comes back is JSON values.
"""

from imufeedback.review.many.cluster import in_cluster
from imufeedback.review.many.found import indexes, recordings
from imufeedback.review.many.local import in_processes
from imufeedback.review.many.one import RecordingOutcome, Way, judge_one
from imufeedback.review.many.table import RepFile

__all__ = ["RecordingOutcome", "RepFile", "Way", "in_cluster", "in_processes", "indexes", "judge_one", "recordings"]
