/* Four numbers side by side, for GCC and clang on any machine, WebAssembly included. */

#pragma once
#include <stddef.h>
#include <stdint.h>

/* What compilers know without a library, so that none is wanted where there is none. */
#define memcpy __builtin_memcpy
#define memmove __builtin_memmove
#define memset __builtin_memset
#define fabs __builtin_fabs
#define sqrt __builtin_sqrt

#define INLINE static inline __attribute__((always_inline))
/* Wider arithmetic where the machine has it, found out when the library is loaded. */
#if !defined(__clang__) && defined(__x86_64__) && defined(__gnu_linux__)
#define WIDE __attribute__((target_clones("arch=x86-64-v3", "default")))
#else
#define WIDE
#endif
/* What others may call. */
#ifdef __wasm__
#define FACE(name) __attribute__((export_name(#name)))
#else
#define FACE(name) __attribute__((visibility("default")))
#endif

typedef double Four __attribute__((vector_size(32)));
typedef int64_t Mask __attribute__((vector_size(32)));

INLINE Four four_at(const double *from)
{
    Four found;
    memcpy(&found, from, sizeof found);
    return found;
}

INLINE void four_to(double *to, Four given)
{
    memcpy(to, &given, sizeof given);
}

INLINE Four four_of(double each) { return (Four){each, each, each, each}; }
INLINE Four four_if(Mask where, Four one, Four other)
{
    return (Four)((where & (Mask)one) | (~where & (Mask)other));
}
INLINE Four four_abs(Four x) { return (Four)((Mask)x & INT64_MAX); }
INLINE double four_sum(Four x) { return (x[0] + x[1]) + (x[2] + x[3]); }

/* The exponential to 1e-14 of itself, held between exp(-700) and exp(700): 2^n times a Taylor
   series to the eleventh power in what is left, within half of log 2. The sum with 1.5 * 2^52
   rounds, and has n in its lowest bits. */
INLINE Four four_exp(Four x)
{
    const Four rounding = four_of(6755399441055744.0);
    x = four_if(x > four_of(700.0), four_of(700.0), x);
    x = four_if(x < four_of(-700.0), four_of(-700.0), x);
    const Four rounded = x * 1.4426950408889634 + rounding, n = rounded - rounding;
    /* log 2 in two parts, of which the first times n is exact. */
    const Four r = (x - n * 0x1.62e42fefa0000p-1) - n * 0x1.cf79abc9e3b3ap-40;
    const Four square = r * r, fourth = square * square;
    const Four low = (1.0 + r) + square * (1.0 / 2 + r * (1.0 / 6));
    const Four middle = (1.0 / 24 + r * (1.0 / 120)) + square * (1.0 / 720 + r * (1.0 / 5040));
    const Four high = (1.0 / 40320 + r * (1.0 / 362880))
                      + square * (1.0 / 3628800 + r * (1.0 / 39916800));
    const Four series = low + fourth * (middle + fourth * high);
    return (Four)((Mask)series + ((Mask)rounded << 52));
}
