"""The weights of the second reader as a file of the program (ONNX), and back.

Tensors keep the names of the state. The frozen base stands in files of its own, which stay the same: its maps
as ``MatMulNBits`` of ONNX Runtime takes them, so that they need little memory and no time to load. What is
learned stands in ``weights.onnx``: its tensors of two dimensions in 8 bits, one scale a row (``NAME_8``,
``NAME_scale``). All of it is computed with in 32 bits, so that every machine reads alike.
"""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import encoder
import numpy as np
import onnx
import torch
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper
from torch import Tensor, nn

if TYPE_CHECKING:
    from teach import Reader

SMALL = 10_000  # values from which a tensor is written in 8 bits
BLOCK = 128  # values that stand together in a map of the base
IN_32_BITS = 1  # accuracy level of MatMulNBits
INPUTS = ("ids", "idx", "near", "part", "span", "tag", "dist", "feat", "tie", "name")
OUTPUTS = ("stands", "state", "action", "seats", "urgency")

Array = NDArray[Any]


class _Product(torch.autograd.Function):
    """``x`` times a map of the base, as one node of the graph."""

    @staticmethod
    def forward(_: Any, x: Tensor, eight: Tensor, scale: Tensor) -> Tensor:
        weight = (eight.reshape(len(eight), -1).float() - 128) * scale.reshape(len(eight), -1)[:, :1]
        return nn.functional.linear(x, weight)

    @staticmethod
    def symbolic(g: Any, x: Any, eight: Any, scale: Any) -> Any:
        rows, blocks, block = eight.type().sizes()
        return g.op(
            "com.microsoft::MatMulNBits", x, eight, scale, K_i=blocks * block, N_i=rows, bits_i=8,
            block_size_i=block, accuracy_level_i=IN_32_BITS,
        )  # fmt: skip


class _Packed(nn.Module):
    """A changed map with its base in 8 bits."""

    def __init__(self, of: encoder.Changed) -> None:
        super().__init__()
        small, scale = encoder.in_eight(of.weight.float())
        rows, columns = small.shape
        eight = (small.to(torch.int16) + 128).to(torch.uint8)
        self.register_buffer("eight", eight.reshape(rows, columns // BLOCK, BLOCK))
        self.register_buffer("scale", scale.repeat_interleave(columns // BLOCK))
        self.a, self.b, self.bias = of.a, of.b, of.bias

    def forward(self, x: Tensor) -> Tensor:
        linear = nn.functional.linear
        return _Product.apply(x, self.eight, self.scale) + linear(linear(x, self.a), self.b, self.bias)


class _Words(nn.Module):
    """The pieces by themselves in 8 bits, one scale a piece."""

    def __init__(self, weight: Tensor) -> None:
        super().__init__()
        small, scale = encoder.in_eight(weight)
        self.register_buffer("eight", small)
        self.register_buffer("scale", scale)

    def forward(self, ids: Tensor) -> Tensor:
        return self.eight[ids].float() * self.scale[ids][..., None]


def write(reader: Reader, example: dict[str, Any], folder: Path) -> None:
    """Writes ``weights.onnx`` and the files of the base into ``folder``; ``example`` is one window."""
    reader.eval()
    packed = copy.deepcopy(reader)
    packed.encoder.words = _Words(packed.encoder.words.weight.detach())
    for layer in packed.encoder.layers:
        for name in encoder.MAPS:
            setattr(layer, name, _Packed(getattr(layer, name)))
    axes: dict[str, dict[int, str]] = {name: {0: "candidates"} for name in INPUTS} | {"ids": {1: "pieces"}}
    axes["tie"] = {0: "candidates", 1: "candidates"}
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "weights.onnx"
    torch.onnx.export(
        packed, tuple(torch.tensor(example[name]) for name in INPUTS), str(file), input_names=list(INPUTS),
        output_names=list(OUTPUTS), dynamic_axes=axes, opset_version=17, dynamo=False,
        do_constant_folding=False, custom_opsets={"com.microsoft": 1},  # unfolded, tensors keep their names
    )  # fmt: skip
    model = onnx.load(file)
    written = _Written(folder)
    for tensor in model.graph.initializer:
        values = numpy_helper.to_array(tensor)
        if tensor.name.endswith(".eight"):
            layer = re.search(r"layers\.(\d+)\.", tensor.name)
            number = 3 if layer is None else 1 + 2 * int(layer[1]) // encoder.LAYERS
            written.base(tensor, values, f"base-{number}.bin")
        elif values.dtype == np.float32 and values.ndim == 2 and values.size >= SMALL:
            written.eight(values, tensor.name)
        else:
            written.tensors.append(tensor)
    lost = learned(reader) - {tensor.name.removesuffix("_8") for tensor in written.tensors}
    if lost:
        raise SystemExit(f"not in the graph: {', '.join(sorted(lost))}")
    nodes = [*written.nodes, *model.graph.node]
    del model.graph.initializer[:], model.graph.node[:]
    model.graph.initializer.extend(written.tensors)
    model.graph.node.extend(nodes)
    onnx.save(model, file)


def learned(reader: Reader) -> set[str]:
    """The names of what is learned: of changed maps the change, and no part of the frozen base."""
    return {name for name, value in reader.named_parameters() if value.requires_grad}


def state_of(path: Path, reader: Reader) -> dict[str, Tensor]:
    """A state for ``reader`` from ``weights.onnx`` (base and learned weights as they are computed with) or
    from what ``--keep`` wrote.
    """
    if path.suffix != ".onnx":
        kept: dict[str, Tensor] = torch.load(path)
        return kept
    state: dict[str, Tensor] = reader.state_dict()
    held = {
        tensor.name: numpy_helper.to_array(tensor)
        for tensor in onnx.load(path, load_external_data=False).graph.initializer
        if tensor.data_location != TensorProto.EXTERNAL
    }
    for name in learned(reader):
        if name in held:
            values = held[name]
        else:
            small, scale = held[f"{name}_8"].astype(np.float32), held[f"{name}_scale"]
            values = small * (scale[:, None] if _by_row(small) else scale[None, :])
        state[name] = torch.tensor(values)
    return state


class _Written:
    """Tensors in 8 bits, and the nodes that make 32 of them."""

    def __init__(self, folder: Path) -> None:
        self.tensors: list[TensorProto] = []
        self.nodes: list[onnx.NodeProto] = []
        self._folder = folder
        self._files: dict[str, int] = {}

    def eight(self, values: Array, name: str) -> None:
        by_row = _by_row(values)
        small, scale = (
            each.numpy() for each in encoder.in_eight(torch.tensor(values if by_row else values.T))
        )
        given = {"8": small if by_row else small.T, "scale": scale, "zero": np.zeros(len(scale), np.int8)}
        self.tensors += [numpy_helper.from_array(each, f"{name}_{of}") for of, each in given.items()]
        names = [f"{name}_{of}" for of in given]
        self.nodes.append(helper.make_node("DequantizeLinear", names, [name], axis=0 if by_row else 1))

    def base(self, tensor: TensorProto, values: Array, where: str) -> None:
        """The tensor, with its values in a file of the base."""
        data, begin = values.tobytes(), self._files.get(where, 0)
        with (self._folder / where).open("ab" if begin else "wb") as out:
            out.write(data)
        self._files[where] = begin + len(data)
        outside = TensorProto(
            name=tensor.name, data_type=tensor.data_type, dims=tensor.dims,
            data_location=TensorProto.EXTERNAL,
        )  # fmt: skip
        for key, value in (("location", where), ("offset", begin), ("length", len(data))):
            outside.external_data.add(key=key, value=str(value))
        self.tensors.append(outside)


def _by_row(values: Array) -> bool:
    return bool(values.shape[0] > values.shape[1])
