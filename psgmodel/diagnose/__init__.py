"""diagnose: why model and dump differ. A comparison in; the first divergence told, and ranked suspects, out."""
