// Marks functions that are compiled once more for processors with wider arithmetic (AVX2 and AVX-512, fused
// multiply-add); the program picks at start-up what the machine has. GCC on x86-64 only; elsewhere, and under
// sanitizers (which are not set up yet when the choice is made), there is one version.
#pragma once

#if defined(__GNUC__) && !defined(__clang__) && defined(__x86_64__) && !defined(__SANITIZE_ADDRESS__)
#define RIPPLEGAUGE_VECTORISED __attribute__((target_clones("arch=x86-64-v4", "arch=x86-64-v3", "default")))
#else
#define RIPPLEGAUGE_VECTORISED
#endif
