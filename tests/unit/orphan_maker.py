"""Run by the tests of the supervisor: a process that starts a mosquitto as a daemon does, says so, and waits.

``python orphan_maker.py RECORDS PORT``; killed, it leaves its child behind.
"""

from __future__ import annotations

import asyncio
import json
import sys
from pathlib import Path

from pitwall.app.logs import set_up_logs
from pitwall.bus.mosquitto import MosquittoBroker
from pitwall.bus.mosquitto_files import MosquittoOptions


async def _run(records: Path, port: int) -> None:
    async with MosquittoBroker(MosquittoOptions("127.0.0.1", port), records) as broker:
        print(json.dumps({"pid": broker.pid, "port": broker.address.port}), flush=True)
        await asyncio.Event().wait()


set_up_logs("json")
asyncio.run(_run(Path(sys.argv[1]), int(sys.argv[2])))
