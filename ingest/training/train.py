"""Trains the handwriting reader and writes it as ONNX.

    python -m ingest.training.train --data FOLDER --out FOLDER [--minutes 9] [--start FILE.pt]

FOLDER holds the open data (see ingest.training.ink). Drawing runs on every core, wear and training on
the GPU when there is one. Writes numerals.onnx, numerals.pt (weights to go on from; kept every two minutes)
and train.json (settings and the held-out figures at the end).
"""

import argparse
import json
import math
import os
import threading
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812
from torch import Tensor
from torch.utils.data import DataLoader, IterableDataset

from ingest.training import ink, wear
from ingest.training.net import Net, decode
from ingest.training.split import Part
from ingest.training.strings import ALPHABET, HEIGHT, Drawn, Sources, draw

WIDTHS = {False: 128, True: 256}  # px of the reader's input for short and long strings
LONG_SHARE = 0.2
CHUNK = 128  # strings drawn at a time by one process


def pack(drawn: list[Drawn]) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Layers (n, 3, h, w) uint8; targets (n, longest) padded with 0; lengths; is-a-number."""
    layers = torch.from_numpy(np.stack([one.layers for one in drawn]))
    texts = [one.text or "" for one in drawn]
    targets = torch.zeros(len(drawn), max(1, max(map(len, texts))), dtype=torch.long)
    for n, text in enumerate(texts):
        for k, character in enumerate(text):
            targets[n, k] = ALPHABET.index(character) + 1
    lengths = torch.tensor([len(text) for text in texts])
    number = torch.tensor([one.text is not None for one in drawn])
    return layers, targets, lengths, number


class Strings(IterableDataset[tuple[Tensor, Tensor, Tensor, Tensor]]):
    """Endless chunks of drawn strings by writers of one part."""

    def __init__(self, data: Path, part: Part, seed: int) -> None:
        self.data, self.part, self.seed = data, part, seed
        self.sources = Sources.of(ink.load_writers(data, [part]), ink.load_scans(data))

    def __iter__(self) -> Iterator[tuple[Tensor, Tensor, Tensor, Tensor]]:
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng((self.seed, info.id if info else 0))
        while True:
            long = bool(rng.random() < LONG_SHARE)
            yield pack([draw(self.sources, WIDTHS[long], long, rng) for _ in range(CHUNK)])


class Store:
    """The latest drawn chunks, on the device. Filled by a thread, so that training never waits: what is
    drawn is used several times with other wear, for drawing is the slow part."""

    ROOM = 300  # chunks kept of each width
    TOGETHER = 16  # chunks in a batch

    def __init__(self, chunks: Iterable[tuple[Tensor, ...]], device: torch.device) -> None:
        self.device, self.drawn = device, 0
        self.kept: dict[int, list[tuple[Tensor, ...]]] = {width: [] for width in WIDTHS.values()}
        threading.Thread(target=self._fill, args=(chunks,), daemon=True).start()
        while any(len(some) < self.TOGETHER for some in self.kept.values()):
            time.sleep(0.2)

    def _fill(self, chunks: Iterable[tuple[Tensor, ...]]) -> None:
        turn = dict.fromkeys(self.kept, 0)
        for chunk in chunks:
            width = chunk[0].shape[3] // 2
            layers, targets, lengths, number = chunk
            # CTC wants the lengths beside the processor; asking the GPU for them would make it wait.
            here = (layers.to(self.device), targets.to(self.device), lengths, number.to(self.device))
            if len(self.kept[width]) < self.ROOM:
                self.kept[width].append(here)
            else:
                self.kept[width][turn[width] % self.ROOM] = here
                turn[width] += 1
            self.drawn += len(here[0])

    def some(self, rng: np.random.Generator) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """A batch: layers, targets, lengths, is-a-number, all of one width."""
        kept = self.kept[WIDTHS[bool(rng.random() < LONG_SHARE)]]
        chosen = [kept[k] for k in rng.integers(len(kept), size=self.TOGETHER)]
        longest = max(c[1].shape[1] for c in chosen)
        targets = torch.cat([F.pad(c[1], (0, longest - c[1].shape[1])) for c in chosen])
        layers, lengths, number = (torch.cat([c[k] for c in chosen]) for k in (0, 2, 3))
        return layers, targets, lengths, number


def loss_of(net: Net, seen: Tensor, targets: Tensor, lengths: Tensor, number: Tensor) -> Tensor:
    """CTC over the strings that are numbers (or blank), and the is-a-number score over all."""
    scores, is_number = net(seen)
    logs = F.log_softmax(scores.float(), dim=2).transpose(0, 1)
    steps = torch.full((logs.shape[1],), len(logs), dtype=torch.long)
    each = F.ctc_loss(logs, targets, steps, lengths, reduction="none", zero_infinity=True)
    reading = (each * number).sum() / number.sum().clamp(min=1)
    return reading + 0.5 * F.binary_cross_entropy_with_logits(is_number.float(), number.float())


def seen_of(layers: Tensor) -> Tensor:
    """Drawn layers as the reader sees them, worn anew."""
    with torch.no_grad():
        seen = wear.even_out(wear.photograph(wear.bend(layers.float() / 255)))
        return seen.contiguous(memory_format=torch.channels_last)


@torch.no_grad()
def measure(net: Net, data: Path, part: Part, device: torch.device, count: int = 2400) -> dict[str, float]:
    """Whole-string figures on strings drawn from a part's writers, worn as in training."""
    net.eval()
    rng = np.random.default_rng(7)
    torch.manual_seed(7)
    tally = Counter[str]()
    scans = ink.load_scans(data) if part == "train" else ink.load_test_scans(data)
    sources = Sources.of(ink.load_writers(data, [part]), scans)
    for _ in range(count // 240):
        long = bool(rng.random() < LONG_SHARE)
        drawn = [draw(sources, WIDTHS[long], long, rng) for _ in range(240)]
        scores, is_number = net(seen_of(pack(drawn)[0].to(device)))
        for one, text, sure in zip(drawn, decode(scores), torch.sigmoid(is_number).tolist(), strict=True):
            if one.text is None:
                tally["not"] += 1
                tally["not_let_through"] += sure > 0.5
                continue
            tally["strings"] += 1
            tally["right"] += text == one.text
            if one.text.isdigit() and len(one.text) <= 3:
                tally["short"] += 1
                tally["short_right"] += text == one.text
    return {
        "strings": tally["strings"],
        "right": tally["right"] / tally["strings"],
        "digits_1_to_3": tally["short"],
        "digits_1_to_3_right": tally["short_right"] / tally["short"],
        "not_numbers": tally["not"],
        "not_numbers_let_through": tally["not_let_through"] / max(1, tally["not"]),
    }


def export(net: Net, path: Path) -> None:
    """The net as ONNX, any number of boxes of any width (a multiple of 8)."""
    net = net.eval().cpu()
    torch.onnx.export(
        net,
        (torch.zeros(2, 1, HEIGHT, 128),),
        str(path),
        input_names=["darkness"],
        output_names=["scores", "is_number"],
        dynamic_axes={"darkness": {0: "n", 3: "w"}, "scores": {0: "n", 1: "t"}, "is_number": {0: "n"}},
        opset_version=17,
        dynamo=False,
    )


def where_time_goes(net: Net, store: Store, rng: np.random.Generator) -> None:
    """Print what takes the GPU's time in a step."""
    begun = time.monotonic()
    kinds = [torch.profiler.ProfilerActivity.CUDA]
    with torch.profiler.profile(activities=kinds) as profile:
        for _ in range(4):
            layers, targets, lengths, number = store.some(rng)
            seen = seen_of(layers)
            with torch.autocast("cuda", dtype=torch.bfloat16):
                loss = loss_of(net, seen, targets, lengths, number)
            loss.backward()
            launched = time.monotonic()
            torch.cuda.synchronize()
            done = time.monotonic()
            print(f"launched in {1000 * (launched - begun):.1f} ms, done in {1000 * (done - begun):.1f} ms")
            begun = done
    print(profile.key_averages().table(sort_by="cuda_time_total", row_limit=25, max_name_column_width=90))
    net.zero_grad(set_to_none=True)


WARM = 300  # steps before the profile; the first ones try out kernels
MEAN_EVERY = 4  # steps between updates of the running mean of the weights
KEEP_EVERY = 120  # seconds between weights kept, in case training is cut short


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=9.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("--workers", type=int, default=0, help="drawing processes; 0: one less than cores")
    parser.add_argument("--rate", type=float, default=3e-3, help="learning rate at the beginning")
    parser.add_argument("--end-rate", type=float, default=0.0, help="and at the end, along a cosine")
    parser.add_argument("--profile", action="store_true", help="print what takes the GPU's time")
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True
    torch.set_float32_matmul_precision("high")
    net = Net().to(device, memory_format=torch.channels_last)
    if args.start:
        net.load_state_dict(torch.load(args.start, map_location=device))
    averaging = torch.optim.swa_utils.get_ema_multi_avg_fn(0.997)
    mean = torch.optim.swa_utils.AveragedModel(net, multi_avg_fn=averaging, use_buffers=True)
    fused = device.type == "cuda"
    optimiser = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=0.03, fused=fused)
    chunks = DataLoader(
        Strings(args.data, "train", args.seed),
        batch_size=None,
        num_workers=args.workers or max(1, (os.cpu_count() or 2) - 1),
        prefetch_factor=8,
        pin_memory=device.type == "cuda",
    )
    store = Store(chunks, device)
    begun, step, said = time.monotonic(), 0, 0.0
    limit, kept = args.minutes * 60, 0.0
    args.out.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(args.seed)
    while (now := time.monotonic() - begun) < limit:
        layers, targets, lengths, number = store.some(rng)
        down = 0.5 + 0.5 * math.cos(math.pi * now / limit)
        rate = (args.end_rate + (args.rate - args.end_rate) * down) * min(1.0, (step + 1) / 500)
        for group in optimiser.param_groups:
            group["lr"] = rate
        seen = seen_of(layers)
        with torch.autocast(device.type, dtype=torch.bfloat16):
            loss = loss_of(net, seen, targets, lengths, number)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        if step % MEAN_EVERY == 0:
            mean.update_parameters(net)
        step += 1
        if args.profile and step == WARM:
            where_time_goes(net, store, rng)
        if now - said > 20:
            said = now
            so_far = f"step {step}  drawn {store.drawn:,}  loss {float(loss.detach()):.4f}"
            print(f"{now:6.0f} s  {so_far}", flush=True)
        if now - kept > KEEP_EVERY:
            kept = now
            torch.save(mean.module.state_dict(), args.out / "numerals.pt")
    best = mean.module
    report: dict[str, object] = {
        "drawn": store.drawn,
        "steps": step,
        "parameters": sum(p.numel() for p in best.parameters()),
    }
    parts: tuple[Part, ...] = ("train", "calibrate", "test")
    for part in parts:
        report[part] = measure(best, args.data, part, device)
    torch.save(best.state_dict(), args.out / "numerals.pt")
    export(best, args.out / "numerals.onnx")
    (args.out / "train.json").write_text(json.dumps(report, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(report, indent=2))


if __name__ == "__main__":
    main()
