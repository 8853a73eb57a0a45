/* The time step of a plain bore and a reed with mass in C, for one lane and for many side by side.

   Names of rows come from the compiler's command line, from the text of the step itself. */

#include <math.h>
#include <string.h>

static double pressure_drop(double drive, double conductance)
{
    double size = fabs(drive);
    double root = 2.0 * size / (conductance + sqrt(conductance * conductance + 4.0 * size) + 1e-300);
    return copysign(root * root, drive);
}

#define N(row) numbers[(row) * stride]
#define S(row) state[(row) * stride]

static inline __attribute__((always_inline)) double come_back(
    const double *numbers, double *state, long stride, double arriving, double early)
{
    double fade = N(FADE), echoing = (1.0 - fade) * early + fade * S(ECHOING);
    S(ECHOING) = echoing;
    double back = echoing + N(DIRECT) * arriving;
    for (int k = 0; k < POLES; k++) {
        double memory = N(POLE + k) * S(MEMORY + k) + N(GAIN + k) * arriving;
        S(MEMORY + k) = memory;
        back += memory;
    }
    for (int k = 0; k < USED_PAIRS; k++) {
        double before = S(RINGING + k);
        double ringing = arriving + N(TURN + k) * before - N(SHRINK + k) * S(RINGING_BEFORE + k);
        S(RINGING_BEFORE + k) = before;
        S(RINGING + k) = ringing;
        back += N(PAIR_GAIN + k) * ringing + N(PAIR_SLOPE + k) * before;
    }
    return back;
}

static inline __attribute__((always_inline)) double at_reed(
    const double *numbers, double *state, long stride, double mouth, double back)
{
    double supply = N(CONDUCTANCE) * mouth - N(WAVE) * back - S(VOLUME_FLOW);
    for (int k = 0; k < BRANCHES; k++) supply += S(THROAT_FLOW + k);
    double opening = S(OPENING), before = S(BEFORE), stiff = N(STIFF), damped = N(DAMPED);
    double lay = N(CONTACT) * (opening < 0.0 ? -opening : 0.0), grip = 1.0 + lay;
    double more = N(LAY_DAMPED) * lay, piston = N(PISTON);
    double mass = 1.0 + (damped + stiff) * grip + more;
    double yields = N(CONDUCTANCE) * mass + piston * N(GIVE);
    double inverse = 1.0 / (mass * yields);
    double weight = yields * inverse, resistance = mass * mass * inverse;
    double free = weight * ((2.0 - 2.0 * stiff * grip) * opening
                            - (1.0 + (stiff - damped) * grip - more) * before
                            + 4.0 * stiff * N(REST));
    double drop = pressure_drop((supply + piston * (free - before)) * resistance,
                                N(CHANNEL) * (opening > 0.0 ? opening : 0.0) * resistance);
    S(BEFORE) = opening;
    S(OPENING) = free - weight * N(GIVE) * drop;
    double pressure = mouth - drop;
    S(VOLUME_FLOW) = 2.0 * N(VOLUME) * pressure - S(VOLUME_FLOW);
    for (int k = 0; k < BRANCHES; k++)
        S(THROAT_FLOW + k) = N(DECAY + k) * S(THROAT_FLOW + k) + N(INFLOW + k) * pressure
                             - N(BACKFLOW + k) * back;
    return pressure;
}

/* One lane; line has size + 8 values, size a power of two. Returns the sum of squares. */
double scalar(const double *numbers, double *state, const double *taps, double *line, long size,
              long first, const double *waves, double turn, double breath, double depth,
              const double *echo, const long *echo_place, long start, long steps)
{
    const long stride = 1;
    double squares = 0.0;
    for (long now = start; now < start + steps; now++) {
        double phase = now * turn;
        double place = (phase - floor(phase)) * TABLE;
        long point = (long)place;
        double sung = (waves[point + 1] - waves[point]) * (place - point) + waves[point];
        double mouth = breath * (1.0 + depth * sung), arriving = 0.0;
        for (int k = 0; k < 4; k++) arriving += taps[k] * line[(now - first - k) & (size - 1)];
        double early = 0.0;
        for (int k = 0; k < USED_ECHOES; k++)
            early += echo[k] * line[(now - echo_place[k]) & (size - 1)];
        double back = come_back(numbers, state, stride, arriving, early);
        double pressure = at_reed(numbers, state, stride, mouth, back);
        line[now & (size - 1)] = pressure - back;
        squares += pressure * pressure;
    }
    return squares;
}

/* A block of LANES, as the lane kernel has it: what is looked up comes BATCH steps at once. */
void lanes(const double *restrict numbers_of, double *restrict state_of,
           const double *restrict taps, double *restrict heard, double *restrict lines, long size,
           const long *restrict first, const double *restrict waves, const double *restrict turn,
           const double *restrict breath, const double *restrict depth,
           const double *restrict echo, const long *restrict echo_place, long start, long steps,
           double *restrict squares)
{
    const long stride = LANES;
    double coming[BATCH][LANES], sung[BATCH][LANES], going[BATCH][LANES], returned[LANES];
    double early[BATCH][LANES];
    for (long now = start; now < start + steps; now += BATCH) {
        for (int s = 0; s < BATCH; s++) {
            for (int i = 0; i < LANES; i++) {
                double phase = (now + s) * turn[i];
                sung[s][i] = (phase - floor(phase)) * TABLE;
            }
            for (int i = 0; i < LANES; i++) {
                long point = (long)sung[s][i];
                const double *wave = waves + point;
                sung[s][i] = (wave[1] - wave[0]) * (sung[s][i] - point) + wave[0];
            }
        }
        for (int i = 0; i < LANES; i++) {
            const double *line = lines + i * (size + BATCH) + ((now - first[i]) & (size - 1));
            for (int s = 0; s < BATCH; s++) coming[s][i] = line[s];
            double sums[BATCH] = {0};
            for (int k = 0; k < USED_ECHOES; k++) {
                long place = (now - echo_place[k * LANES + i]) & (size - 1);
                const double *came = lines + i * (size + BATCH) + place;
                for (int s = 0; s < BATCH; s++) sums[s] += echo[k * LANES + i] * came[s];
            }
            for (int s = 0; s < BATCH; s++) early[s][i] = sums[s];
        }
        for (int s = 0; s < BATCH; s++) {
            for (int i = 0; i < LANES; i++) {
                double arriving = taps[i] * coming[s][i];
                for (int k = 1; k < 4; k++)
                    arriving += taps[k * LANES + i] * heard[(k - 1) * LANES + i];
                for (int k = 2; k > 0; k--) heard[k * LANES + i] = heard[(k - 1) * LANES + i];
                heard[i] = coming[s][i];
                returned[i] = come_back(
                    numbers_of + i, state_of + i, stride, arriving, early[s][i]);
            }
            for (int i = 0; i < LANES; i++) {
                double mouth = breath[i] * (1.0 + depth[i] * sung[s][i]);
                double pressure =
                    at_reed(numbers_of + i, state_of + i, stride, mouth, returned[i]);
                going[s][i] = pressure - returned[i];
                squares[i] += pressure * pressure;
            }
        }
        long place = now & (size - 1);
        for (int i = 0; i < LANES; i++) {
            double *line = lines + i * (size + BATCH);
            for (int s = 0; s < BATCH; s++) line[place + s] = going[s][i];
            if (place == 0) memcpy(line + size, line, BATCH * sizeof(double));
        }
    }
}
