"""kernel: the part of the fast engine that is also there in C, compiled.

Stage: engine. In: arrays. Out: arrays. `layout` names what both sides number alike; `build` compiles the C files of
this folder, while the project is installed or by ``python -m psgmodel.engine.kernel``; `library` loads what was built,
if it was built from these very files; `encode` writes a channel down as arrays; `follow` and `outputs` are what the
engine calls. Where nothing is built, the twin in Python (`psgmodel.engine.track`, `psgmodel.engine.mixing`) gives the
same answer.
"""
