/* Second-order sections in turn, transposed direct form II. */

#include "four.h"

/* `count` of them at once, known when this is compiled, so that what they remember stays in
   registers. */
INLINE void some_sections(const double *coefficients, const int count, double *memory,
                          const double *signal, double *output, int samples)
{
    double c[12], m[4];
    memcpy(c, coefficients, 6 * count * sizeof(double));
    memcpy(m, memory, 2 * count * sizeof(double));
    for (int n = 0; n < samples; n++) {
        double value = signal[n];
        for (int k = 0; k < count; k++) {
            const double result = c[6 * k] * value + m[2 * k];
            m[2 * k] = c[6 * k + 1] * value - c[6 * k + 4] * result + m[2 * k + 1];
            m[2 * k + 1] = c[6 * k + 2] * value - c[6 * k + 5] * result;
            value = result;
        }
        output[n] = value;
    }
    memcpy(memory, m, 2 * count * sizeof(double));
}

/* Of each of `count` sections b0, b1, b2, 1, a1, a2, and two numbers of memory. */
FACE(sections) void sections(const double *coefficients, int count, double *memory,
                             const double *signal, double *output, int samples)
{
    for (int done = 0; done + 2 <= count; done += 2)
        some_sections(coefficients + 6 * done, 2, memory + 2 * done, done ? output : signal,
                      output, samples);
    if (count % 2)
        some_sections(coefficients + 6 * (count - 1), 1, memory + 2 * (count - 1),
                      count > 1 ? output : signal, output, samples);
}
