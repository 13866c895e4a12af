"""Whisper in PyTorch, with the weights and under the names of a CTranslate2 file, and changes of low rank.

The names are those of ``ctranslate2.specs.whisper_spec``; checked against the engine's own encoder on a
recording of ``tune`` (largest difference 0.001 where values reach 19).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from voicecheck.speech.taught import SIXTEEN_BITS, variables

WIDTH, HEADS, LAYERS = 512, 8, 6  # of Whisper base
RANK = 16
SEED = 20_261


class Network(nn.Module):
    """The published weights, kept as they are, and the changes ``first`` (rank, columns), ``second`` (rows,
    rank).

    Changed are the decoder and the encoder's layers from ``lowest``; not what the decoder looks for in the
    sound (queries and keys of the attention to the encoder), since the times of words are taken from that.
    Products are of 16 bits (bfloat16), what runs past the layers of 32: in 16 it drifts.
    """

    def __init__(self, model: Path, *, lowest: int) -> None:
        super().__init__()
        self._whole: dict[str, Tensor] = {}
        data = model.read_bytes()
        for one in variables(data):
            if one.type == SIXTEEN_BITS:
                array = np.frombuffer(data, np.float16, one.size // 2, one.start).reshape(one.shape)
                self._whole[one.name] = torch.from_numpy(array.astype(np.float32))
        self._half = {name: value.bfloat16() for name, value in self._whole.items()}
        self.first, self.second = nn.ParameterDict(), nn.ParameterDict()
        draw = torch.Generator().manual_seed(SEED)
        for name, value in self._whole.items():
            if _is_changed(name, lowest=lowest):
                rows, columns = value.shape
                key = _key(name)
                self.first[key] = nn.Parameter(
                    torch.randn(RANK, columns, generator=draw) / math.sqrt(columns)
                )
                self.second[key] = nn.Parameter(torch.zeros(rows, RANK))

    def changes(self) -> dict[str, np.ndarray]:
        """The changes as ``taught.npz`` holds them, 16 bits."""
        return {name: value.detach().numpy().astype(np.float16) for name, value in self._pairs()}

    def go_on_from(self, changes: Path) -> None:
        """Takes the changes of a file as they are."""
        with np.load(changes) as pairs, torch.no_grad():
            for name, value in self._pairs():
                value.copy_(torch.from_numpy(pairs[name].astype(np.float32)))

    def _pairs(self) -> Iterator[tuple[str, nn.Parameter]]:
        """Each matrix of the changes under its name in the file."""
        for name in self._whole:
            if _key(name) in self.first:
                yield f"a/{name}", self.first[_key(name)]
                yield f"b/{name}", self.second[_key(name)]

    def encoded(self, mel: Tensor) -> Tensor:
        """(batch, 80, 3000) of log mel to (batch, 1500, width)."""
        x = functional.gelu(self._convolved(mel, "encoder/conv1", stride=1))
        x = functional.gelu(self._convolved(x, "encoder/conv2", stride=2)).transpose(1, 2).float()
        x = x + self._whole["encoder/position_encodings/encodings"][: x.shape[1]]
        for layer in range(LAYERS):
            x = self._attended(x, f"encoder/layer_{layer}/self_attention", causal=False)
            x = self._fed_forward(x, f"encoder/layer_{layer}/ffn")
        return self._normed(x, "encoder/layer_norm")

    def decoded(self, tokens: Tensor, sound: Tensor) -> Tensor:
        """(batch, length) of tokens to (batch, length, width), before the vocabulary."""
        x = self._whole["decoder/embeddings/weight"][tokens]
        x = x + self._whole["decoder/position_encodings/encodings"][: tokens.shape[1]]
        for layer in range(LAYERS):
            x = self._attended(x, f"decoder/layer_{layer}/self_attention", causal=True)
            x = self._listened(x, sound, f"decoder/layer_{layer}/attention")
            x = self._fed_forward(x, f"decoder/layer_{layer}/ffn")
        return self._normed(x, "decoder/layer_norm")

    def scores(self, x: Tensor) -> Tensor:
        """(…, width) to (…, vocabulary)."""
        return functional.linear(x.bfloat16(), self._half["decoder/embeddings/weight"]).float()

    def _convolved(self, x: Tensor, name: str, *, stride: int) -> Tensor:
        weight, bias = self._half[f"{name}/weight"], self._half[f"{name}/bias"]
        return functional.conv1d(x.bfloat16(), weight, bias, stride=stride, padding=1)

    def _linear(self, x: Tensor, name: str) -> Tensor:
        x = x.bfloat16()
        y = functional.linear(x, self._half[f"{name}/weight"], self._half[f"{name}/bias"])
        key = _key(f"{name}/weight")
        if key in self.first:
            y = y + functional.linear(
                functional.linear(x, self.first[key].bfloat16()), self.second[key].bfloat16()
            )
        return y

    def _normed(self, x: Tensor, name: str) -> Tensor:
        return functional.layer_norm(x, (WIDTH,), self._whole[f"{name}/gamma"], self._whole[f"{name}/beta"])

    def _attended(self, x: Tensor, name: str, *, causal: bool) -> Tensor:
        parts = self._linear(self._normed(x, f"{name}/layer_norm"), f"{name}/linear_0").split(WIDTH, -1)
        query, key, value = (_in_heads(part) for part in parts)
        found = functional.scaled_dot_product_attention(query, key, value, is_causal=causal)
        return x + self._linear(_joined(found), f"{name}/linear_1")

    def _listened(self, x: Tensor, sound: Tensor, name: str) -> Tensor:
        query = _in_heads(self._linear(self._normed(x, f"{name}/layer_norm"), f"{name}/linear_0"))
        key, value = (_in_heads(part) for part in self._linear(sound, f"{name}/linear_1").split(WIDTH, -1))
        return x + self._linear(
            _joined(functional.scaled_dot_product_attention(query, key, value)), f"{name}/linear_2"
        )

    def _fed_forward(self, x: Tensor, name: str) -> Tensor:
        inner = functional.gelu(self._linear(self._normed(x, f"{name}/layer_norm"), f"{name}/linear_0"))
        return x + self._linear(inner, f"{name}/linear_1")


def _is_changed(name: str, *, lowest: int) -> bool:
    """Whether the matrix ``name`` gets changes."""
    side, layer, part, *_ = [*name.split("/"), "", ""]
    if "/linear_" not in name or not name.endswith("/weight"):
        return False
    if side == "encoder":
        return int(layer.removeprefix("layer_")) >= lowest
    return part != "attention" or "/linear_2/" in name


def _key(name: str) -> str:
    """The name of a matrix as a parameter's, which may hold no slash."""
    return name.replace("/", "__")


def _in_heads(x: Tensor) -> Tensor:
    return x.view(x.shape[0], x.shape[1], HEADS, -1).transpose(1, 2)


def _joined(x: Tensor) -> Tensor:
    return x.transpose(1, 2).reshape(x.shape[0], x.shape[2], WIDTH)
