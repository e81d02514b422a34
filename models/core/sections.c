/* Second-order sections in turn, transposed direct form II. */

#include "four.h"

/* Of each of `count` sections b0, b1, b2, 1, a1, a2, and two numbers of memory. */
FACE(sections) void sections(const double *coefficients, int count, double *memory,
                             const double *signal, double *output, int samples)
{
    for (int n = 0; n < samples; n++) {
        double value = signal[n];
        for (int k = 0; k < count; k++) {
            const double *c = coefficients + 6 * k;
            double *m = memory + 2 * k;
            const double result = c[0] * value + m[0];
            m[0] = c[1] * value - c[4] * result + m[1];
            m[1] = c[2] * value - c[5] * result;
            value = result;
        }
        output[n] = value;
    }
}
