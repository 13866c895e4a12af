"""The encoder that the second reader is taught on: MPNet, frozen in 8 bits, with low-rank changes to it.

What is shipped of the base is what is learned on: its weights are rounded to 8 bits, one scale a row, before
learning begins. Only the changes (LoRA, Hu et al. 2021, arXiv:2106.09685), the offsets and the norms learn.
The base is all-mpnet-base-v2 (Song et al. 2020, arXiv:2004.09297; Apache-2.0).
"""

from __future__ import annotations

import math
from pathlib import Path

import torch
from safetensors.torch import load_file
from torch import Tensor, nn

WIDTH, LAYERS, HEADS = 768, 12, 12
MAPS = ("qkv", "o", "up", "down")  # the linear maps of a layer
RANK = 32
LONGEST = 514  # places of the base, two of them unused
NEAR, FAR = 8, 128  # distances told apart one by one, and in steps that grow up to
BUCKETS = 32
DROPPED = 0.1
# the signs for begin, end, unknown and nothing have numbers of their own; all others are moved by four
SIGNS = {101: 0, 102: 2, 103: 30526, 0: 1}
MOVED = 4


def in_eight(weight: Tensor) -> tuple[Tensor, Tensor]:
    """``weight`` [rows, columns] in 8 bits, and the scale of each row."""
    scale = weight.abs().amax(1).clamp(min=1e-8) / 127
    return (weight / scale[:, None]).round().clamp(-127, 127).to(torch.int8), scale


def rounded(weight: Tensor) -> Tensor:
    """``weight`` as it is computed with when it is kept in 8 bits."""
    small, scale = in_eight(weight)
    return small.float() * scale[:, None]


class Changed(nn.Module):
    """A linear map of the base with a change of low rank."""

    def __init__(self, weight: Tensor, bias: Tensor) -> None:
        super().__init__()
        self.register_buffer("weight", rounded(weight.float()).to(torch.bfloat16).contiguous())
        self.bias = nn.Parameter(bias.float().clone())
        self.a = nn.Parameter(torch.randn(RANK, weight.shape[1]) / math.sqrt(weight.shape[1]))
        self.b = nn.Parameter(torch.zeros(weight.shape[0], RANK))

    def forward(self, x: Tensor) -> Tensor:
        linear = nn.functional.linear
        if torch.is_autocast_enabled("cpu"):
            x = x.to(torch.bfloat16)
            return linear(x, self.weight) + linear(linear(x, self.a), self.b, self.bias)
        return linear(x, self.whole(), self.bias)

    def whole(self) -> Tensor:
        return self.weight.float() + self.b @ self.a


class Drop(nn.Module):
    """Keeps values back in learning, the same ones for all pieces of a window: drawing them takes time."""

    def forward(self, x: Tensor) -> Tensor:
        if not self.training:
            return x
        kept = torch.rand(x.shape[0], 1, x.shape[2]) >= DROPPED
        return x * (kept / (1 - DROPPED)).to(x.dtype)


class Layer(nn.Module):
    """Attention with the distances' bias, then the feed-forward part; the norms come after."""

    def __init__(self, base: dict[str, Tensor], number: int) -> None:
        super().__init__()
        at = f"encoder.layer.{number}."

        def changed(*names: str) -> Changed:
            weight, bias = (
                torch.cat([base[f"{at}{name}.{of}"] for name in names]) for of in ("weight", "bias")
            )
            return Changed(weight, bias)

        self.qkv = changed(*(f"attention.attn.{name}" for name in "qkv"))
        self.o = changed("attention.attn.o")
        self.up, self.down = changed("intermediate.dense"), changed("output.dense")
        self.n1 = _norm(base, f"{at}attention.LayerNorm")
        self.n2 = _norm(base, f"{at}output.LayerNorm")
        self.drop = Drop()

    def forward(self, x: Tensor, bias: Tensor) -> Tensor:
        windows, length, _ = x.shape
        q, k, v = (
            each.reshape(windows, length, HEADS, WIDTH // HEADS).transpose(1, 2)
            for each in self.qkv(x).split(WIDTH, -1)
        )
        # written out: torch's own in 16 bits is slower (with Drop: 533 pieces a second, was 452, AMD EPYC)
        score = (q * (WIDTH // HEADS) ** -0.5) @ k.transpose(2, 3) + bias.to(q.dtype)
        with torch.autocast("cpu", enabled=False):
            share = score.softmax(-1)
        seen = share @ v
        x = self.n1(x + self.drop(self.o(seen.transpose(1, 2).reshape(windows, length, WIDTH))))
        return self.n2(x + self.drop(self.down(nn.functional.gelu(self.up(x)))))


class Encoder(nn.Module):
    """Pieces of words in, [windows, pieces, WIDTH] out. Pieces have the numbers of BERT's vocabulary."""

    def __init__(self, base: Path) -> None:
        super().__init__()
        held = {name.removeprefix("mpnet."): value for name, value in load_file(base).items()}
        words = rounded(held["embeddings.word_embeddings.weight"].float())
        self.words = nn.Embedding.from_pretrained(words, freeze=True)
        places = held["embeddings.position_embeddings.weight"].float()
        self.places = nn.Embedding.from_pretrained(places, freeze=True)
        self.norm = _norm(held, "embeddings.LayerNorm")
        # frozen like the maps: what is shipped of the base stays the same
        self.register_buffer("rel", held["encoder.relative_attention_bias.weight"].float())
        self.layers = nn.ModuleList(Layer(held, number) for number in range(LAYERS))
        self.drop = Drop()
        self.register_buffer("bucket", _buckets(LONGEST), persistent=False)

    def named(self, ids: Tensor) -> Tensor:
        """The pieces by themselves."""
        return self.words(_own(ids))

    def forward(self, input_ids: Tensor, attention_mask: Tensor | None = None) -> Tensor:
        length = input_ids.shape[1]
        x = self.named(input_ids) + self.places(torch.arange(length) + 2)[None]
        x = self.drop(self.norm(x))
        bias = self.rel[self.bucket[:length, :length].long()].permute(2, 0, 1)[None]
        if attention_mask is not None:
            bias = bias + (1.0 - attention_mask[:, None, None, :].float()) * -1e4
        if torch.is_autocast_enabled("cpu"):
            bias = bias.to(torch.bfloat16)
        for layer in self.layers:
            x = layer(x, bias)
        return x


def _own(ids: Tensor) -> Tensor:
    moved = ids + MOVED
    for theirs, ours in SIGNS.items():
        moved = torch.where(ids == theirs, ours, moved)
    return moved


def _norm(base: dict[str, Tensor], name: str) -> nn.LayerNorm:
    norm = nn.LayerNorm(WIDTH, eps=1e-5)
    norm.load_state_dict({of: base[f"{name}.{of}"].float() for of in ("weight", "bias")})
    return norm


def _buckets(length: int) -> Tensor:
    """The number of the distance from one place to another, as the base was made with."""
    half = BUCKETS // 2
    apart = torch.arange(length)[:, None] - torch.arange(length)[None, :]
    size = apart.abs()
    steps = torch.log(size.clamp(min=1).float() / NEAR) / math.log(FAR / NEAR) * (half - NEAR)
    far = (NEAR + steps.long()).clamp(max=half - 1)
    return ((apart < 0).long() * half + torch.where(size < NEAR, size, far)).to(torch.uint8)
