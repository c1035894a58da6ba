#include "colour/difference.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>

// One formula for all uses: the same template is the scalar function in double, the batches in double and
// float, and, over numbers that carry their derivatives, the gradient. It uses no trigonometry: hues are unit
// vectors, and what the published formula does with angles is done by products of vectors, square roots and
// divisions, all of which compilers vectorise. Equation numbers are those of Sharma, Wu and Dalal (2005).

// AVX2 code is chosen at run time where the tool chain can do it; the sanitizers run before the choice is
// made.
#if defined(__x86_64__) && defined(__GLIBC__) && defined(__GNUC__) && !defined(__clang__) && \
    !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define BINDHUE_VECTOR_CLONES [[gnu::target_clones("avx2", "default")]]
#else
#define BINDHUE_VECTOR_CLONES
#endif
#define BINDHUE_INLINE [[gnu::always_inline]] inline

namespace bindhue {
namespace {

BINDHUE_INLINE double root(double v) { return std::sqrt(v); }
BINDHUE_INLINE float root(float v) { return std::sqrt(v); }

// Written by value: a conditional of two variables would choose between their addresses, which does not vectorise. Nor do
// && and ||, so conditions below are numbers that are picked and then compared.
template <class T>
BINDHUE_INLINE T pick(bool condition, T yes, T no) {
    return condition ? yes : no;
}

// The polynomial with the coefficients c, lowest power first: even and odd powers apart, and so on down,
// because the formula is one long chain of operations that wait for each other, and this is the shortest
// chain for a polynomial.
template <const auto& c, std::size_t First = 0, std::size_t Stride = 1, class T>
BINDHUE_INLINE T polynomial(T x) {
    if constexpr (First + Stride >= std::size(c))
        return T(c[First]);
    else
        return polynomial<c, First, 2 * Stride>(x * x) + x * polynomial<c, First + Stride, 2 * Stride>(x * x);
}

template <std::size_t N>
constexpr std::array<double, N> inverse_factorials() {
    std::array<double, N> c{};
    double factorial = 1;
    for (std::size_t i = 0; i < N; ++i) {
        c[i] = 1.0 / factorial;
        factorial *= static_cast<double>(i + 1);
    }
    return c;
}
// sin(x) / x in powers of x^2.
template <std::size_t N>
constexpr std::array<double, N> sine_over_x() {
    std::array<double, N> c{};
    double factorial = 1;
    for (std::size_t i = 0; i < N; ++i) {
        c[i] = (i % 2 == 0 ? 1.0 : -1.0) / factorial;
        factorial *= static_cast<double>((2 * i + 2) * (2 * i + 3));
    }
    return c;
}

// What the two precisions need to know. With z = sin(phi/2)^2, angle_squared gives (phi / 25 degrees)^2 =
// (2 asin(sqrt z))^2 / (25 degrees)^2 as z times a polynomial, which was fitted so that the largest error of
// exp(-(phi / 25 degrees)^2) is least: 6e-16 in double, 2e-8 in float. Beyond z_max the exponential itself is
// under 4e-16 and 7e-8.
template <class T>
struct Precision;
template <>
struct Precision<double> {
    using Bits = std::uint64_t;
    static constexpr double splitter = 0x1p27 + 1;
    static constexpr double shifter = 0x1.8p52, ln2_high = 0x1.62e42fefap-1, ln2_low = 0x1.cf79abc9e3b39p-40;
    static constexpr Bits exponent_bias = 1023, mantissa_bits = 52;
    static constexpr auto exponential = inverse_factorials<13>();
    static constexpr auto sine = sine_over_x<10>();
    static constexpr double z_max = 0.93;
    static constexpr std::array<double, 18> angle_squared{
        21.009960640074435829,  7.0033202136450789753, 3.7351040753383479981,  2.4011408954987266148,
        1.7073790745114811126,  1.2959105843800629329, 0.98441440224327431824, 1.2886561478251931101,
        -3.0931718071208625931, 23.929816691522495464, -105.95412910065874179, 361.57832475914787018,
        -905.21661297370734367, 1654.5709878108877273, -2137.5192022244980583, 1852.9683115519699688,
        -967.15689895384078512, 231.51552816696139077};
};
template <>
struct Precision<float> {
    using Bits = std::uint32_t;
    static constexpr float splitter = 0x1p12f + 1;
    static constexpr float shifter = 0x1.8p23f, ln2_high = 0x1.63p-1f, ln2_low = -0x1.bd0106p-13f;
    static constexpr Bits exponent_bias = 127, mantissa_bits = 23;
    static constexpr auto exponential = inverse_factorials<7>();
    static constexpr auto sine = sine_over_x<6>();
    static constexpr double z_max = 0.6;
    static constexpr std::array<double, 6> angle_squared{21.009955852308092898,  7.0038120225827857593,
                                                         3.7202474248202789047,  2.5838452893275189455,
                                                         0.71379753819492739331, 3.48857386110625121};
};

// exp(-q) for 0 <= q <= 60: a power of two made from its exponent bits, times a Taylor series on +-ln(2)/2.
// Relative error under 1e-15 in double and 2e-7 in float. Adding and subtracting the shifter rounds to a
// whole number and leaves it in the low bits.
template <class T>
BINDHUE_INLINE T exp_minus(T q) {
    using P = Precision<T>;
    const T shifted = P::shifter - q * T(1.4426950408889634074), n = shifted - P::shifter;
    const T r = (-q - n * P::ln2_high) - n * P::ln2_low;
    const auto exponent = (std::bit_cast<typename P::Bits>(shifted) + P::exponent_bias) << P::mantissa_bits;
    return polynomial<P::exponential>(r) * std::bit_cast<T>(exponent);
}

// sin(2 delta-theta) of equation 22, from z of the angle between the mean hue and 275 degrees; 0 for z over
// z_max.
template <class T>
BINDHUE_INLINE T rotation_sine(T z) {
    using P = Precision<T>;
    const bool inside = z < T(P::z_max);
    const T clamped = pick(inside, z, T(P::z_max));
    constexpr double sixty_degrees = 1.0471975511965977462;
    const T x = T(sixty_degrees) * exp_minus(polynomial<P::angle_squared>(clamped) * clamped);
    return pick(inside, x * polynomial<P::sine>(x * x), T(0.0));
}

// What rounding took from p = x * y (Dekker 1971), exactly, without needing a fused multiply-add.
template <class T>
BINDHUE_INLINE T product_rest(T x, T y, T p) {
    const T sx = T(Precision<T>::splitter) * x, x_high = sx - (sx - x), x_low = x - x_high;
    const T sy = T(Precision<T>::splitter) * y, y_high = sy - (sy - y), y_low = y - y_high;
    return ((x_high * y_high - p) + x_high * y_low + x_low * y_high) + x_low * y_low;
}

// C^7 / (C^7 + 25^7).
template <class T>
BINDHUE_INLINE T seventh_power_ratio(T C) {
    const T t = C * T(1.0 / 25.0), t2 = t * t, t7 = t2 * t2 * t2 * t;
    return t7 / (t7 + T(1.0));
}

// The formula in four stages. In a batch each runs over a block before the next starts: within one pair
// nearly every operation waits for the one before, so short loops, of which the processor overlaps several
// turns, are twice as fast.
template <class T>
struct Chroma {
    T stretch, C1, C2;
};
template <class T>
struct Hue {
    T numerator, denominator;  // of 2 sqrt(C1 C2) sin(dh/2)
    T c, s;                    // cosine and sine of the mean hue
    T z;                       // see rotation_sine
};
template <class T>
struct Terms {
    T L, C, H, rotation;
};

// Equations 2 to 6.
template <class T>
BINDHUE_INLINE Chroma<T> chroma_of(T a1, T b1, T a2, T b2) {
    const T half = T(0.5);
    const T mean_plain_C = half * (root(a1 * a1 + b1 * b1) + root(a2 * a2 + b2 * b2));
    const T stretch = T(1.5) - half * root(seventh_power_ratio(mean_plain_C));
    const T s1 = stretch * a1, s2 = stretch * a2;
    return {stretch, root(s1 * s1 + b1 * b1), root(s2 * s2 + b2 * b2)};
}

template <class T>
BINDHUE_INLINE Hue<T> hue_of(T a1, T b1, T a2, T b2, const Chroma<T>& chroma) {
    const T half = T(0.5), zero = T(0.0), one = T(1.0);
    const T stretch = chroma.stretch, C1 = chroma.C1, C2 = chroma.C2;
    const T s1 = stretch * a1, s2 = stretch * a2;

    // Equations 9 to 11. The hue term is 2 sqrt(C1 C2) sin(dh/2): from the cross product while the hues are
    // less than 90 degrees apart, where 1 - cos(dh) would cancel, and from the dot product beyond, where
    // cos(dh/2) would. The sign of the cross product says which way round the hue circle is shorter. It is
    // taken of a and b as given and with what rounding took, so that the sign is exact and opposite hues give
    // zero.
    const T product = C1 * C2, dot = s1 * s2 + b1 * b2;
    const T p = a1 * b2, q = a2 * b1, p_rest = product_rest(a1, b2, p), q_rest = product_rest(a2, b1, q);
    const T cross = (p - q) + (p_rest - q_rest);
    const bool near = dot >= zero;
    const T half_root = root(half * (product + pick(near, dot, -dot)));
    // Which way round the hue circle: for exactly opposite hues the formula goes up from the lesser hue.
    const bool lesser_is_1 = pick(b1 == zero, a1, b1) > zero;
    const T turn = pick(cross > zero, one, pick(cross < zero, -one, pick(lesser_is_1, one, -one)));
    const T hue_numerator = pick(near, stretch * cross, turn * (half_root + half_root));
    const T hue_denominator = pick(pick(near, half_root, zero) > zero, half_root, one);

    // Equation 14: the mean hue as a unit vector (c, s). The sum of the two directions cancels when they are
    // nearly opposite; their difference, turned by 90 degrees, does not. A grey has no hue: then the other's
    // counts.
    const bool both = product > zero;
    const T w1 = pick(both, C2, one), w2 = pick(both, C1, one);
    const T ux = w1 * s1, uy = w1 * b1, vx = w2 * s2, vy = w2 * b2;
    const T mx = pick(near, ux + vx, turn * (vy - uy)), my = pick(near, uy + vy, turn * (ux - vx));
    const T norm = root(mx * mx + my * my);
    const T inverse_norm = one / pick(norm > zero, norm, one);
    const T c = pick(norm > zero, mx * inverse_norm, one), s = my * inverse_norm;

    // Equation 16. The formula does not wrap the mean hue minus 275 degrees: for a mean hue from 0 to 95
    // degrees the distance is 180 to 275, not the 85 to 180 of the other way round. Close to a mean hue of 0
    // the sign is that of the sine of the sum of the hues, again exact.
    const T cos275 = T(0.087155742747658173558), sin275 = T(-0.99619469809174553230);
    const bool straddling = pick(mx > zero, b1 * b2, one) < zero;
    const bool upper = pick(straddling, (p + q) + (p_rest + q_rest), s) >= zero;
    const bool beyond = pick(upper, s * cos275 - c * sin275, zero) > zero;
    const T z = pick(beyond, one, half - half * (c * cos275 + s * sin275));
    return {hue_numerator, hue_denominator, c, s, z};
}

// Equations 15 and 17 to 22.
template <class T>
BINDHUE_INLINE Terms<T> terms_of(T L1, T L2, const Chroma<T>& chroma, const Hue<T>& hue,
                                 T rotation_angle_sine, T kL, T kC, T kH) {
    const T half = T(0.5), one = T(1.0);
    // Equation 15, the cosines of the multiples of the mean hue by repeated multiplication.
    const T c = hue.c, s = hue.s;
    const T c2 = c * c - s * s, s2h = T(2.0) * c * s;
    const T c3 = c2 * c - s2h * s, s3 = s2h * c + c2 * s;
    const T c4 = c2 * c2 - s2h * s2h, s4 = T(2.0) * c2 * s2h;
    const T weight_T = one - T(0.17) * (c * T(0.86602540378443864676) + s * half) + T(0.24) * c2 +
                       T(0.32) * (c3 * T(0.99452189536827333692) - s3 * T(0.10452846326765347140)) -
                       T(0.20) * (c4 * T(0.45399049973954679156) + s4 * T(0.89100652418836786236));

    const T C1 = chroma.C1, C2 = chroma.C2;
    const T mean_C = half * (C1 + C2);
    const T RT = -T(2.0) * rotation_angle_sine * root(seventh_power_ratio(mean_C));

    const T from_50 = half * (L1 + L2) - T(50.0), from_50_squared = from_50 * from_50;
    const T SL_root = root(T(20.0) + from_50_squared);
    const T L_denominator = kL * (SL_root + T(0.015) * from_50_squared);  // kL SL, times SL_root
    const T C_denominator = kC * (one + T(0.045) * mean_C);
    const T H_denominator = kH * (one + T(0.015) * mean_C * weight_T) * hue.denominator;
    // One division for three: divisions and square roots are most of the time.
    const T CH = C_denominator * H_denominator, inverse = one / (L_denominator * CH);
    const T L = (L2 - L1) * SL_root * (CH * inverse);
    const T C = (C2 - C1) * (L_denominator * H_denominator * inverse);
    const T H = hue.numerator * (L_denominator * C_denominator * inverse);
    return {L, C, H, RT * C * H};
}

template <class T>
BINDHUE_INLINE Terms<T> all_terms(T L1, T a1, T b1, T L2, T a2, T b2, T kL, T kC, T kH) {
    const Chroma<T> chroma = chroma_of(a1, b1, a2, b2);
    const Hue<T> hue = hue_of(a1, b1, a2, b2, chroma);
    return terms_of(L1, L2, chroma, hue, rotation_sine(hue.z), kL, kC, kH);
}

template <class T>
BINDHUE_INLINE T total_of(const Terms<T>& t) {
    const T sum = t.L * t.L + t.C * t.C + t.H * t.H + t.rotation;
    // The form is positive definite (|RT| < 2); rounding may still end below 0. A NaN stays one.
    return root(pick(sum < T(0.0), T(0.0), sum));
}

// A value with its derivatives by the two colours' six coordinates.
struct Dual {
    double v = 0;
    std::array<double, 6> d{};

    Dual(double value) : v(value) {}
    Dual(double value, const std::array<double, 6>& derivatives) : v(value), d(derivatives) {}
};
// f(x, y) with its slopes by x and y.
Dual chain(double value, const Dual& x, double by_x, const Dual& y, double by_y) {
    Dual out(value);
    for (std::size_t i = 0; i < 6; ++i) out.d[i] = by_x * x.d[i] + by_y * y.d[i];
    return out;
}
Dual operator+(const Dual& x, const Dual& y) { return chain(x.v + y.v, x, 1, y, 1); }
Dual operator-(const Dual& x, const Dual& y) { return chain(x.v - y.v, x, 1, y, -1); }
Dual operator-(const Dual& x) { return chain(-x.v, x, -1, x, 0); }
Dual operator*(const Dual& x, const Dual& y) { return chain(x.v * y.v, x, y.v, y, x.v); }
Dual operator/(const Dual& x, const Dual& y) { return chain(x.v / y.v, x, 1 / y.v, y, -x.v / (y.v * y.v)); }
bool operator<(const Dual& x, const Dual& y) { return x.v < y.v; }
bool operator>(const Dual& x, const Dual& y) { return x.v > y.v; }
bool operator>=(const Dual& x, const Dual& y) { return x.v >= y.v; }
bool operator==(const Dual& x, const Dual& y) { return x.v == y.v; }
// Chroma has a point at grey, and the difference one at equal colours; 0 is the slope in the middle of the
// cone.
Dual root(const Dual& x) {
    const double r = std::sqrt(x.v);
    return chain(r, x, r > 0 ? 0.5 / r : 0.0, x, 0);
}
Dual exp_minus(const Dual& q) {
    const double e = exp_minus(q.v);
    return chain(e, q, -e, q, 0);
}
template <>
struct Precision<Dual> : Precision<double> {};

Terms<double> scalar_terms(const Vector3& reference, const Vector3& sample, const DifferenceWeights& w) {
    return all_terms<double>(reference[0], reference[1], reference[2], sample[0], sample[1], sample[2], w.kL,
                             w.kC, w.kH);
}

template <class T>
BINDHUE_INLINE void batch(const Vector3& reference, const T* L, const T* a, const T* b, T* out,
                          std::size_t count) {
    const T L1 = static_cast<T>(reference[0]), a1 = static_cast<T>(reference[1]),
            b1 = static_cast<T>(reference[2]), one = T(1);
    constexpr std::size_t block = 128;
    T stretch[block], C1[block], C2[block], numerator[block], denominator[block], c[block], s[block],
        z[block];
    for (std::size_t first = 0; first < count; first += block) {
        const std::size_t size = std::min(block, count - first);
        const T *block_L = L + first, *block_a = a + first, *block_b = b + first;
        T* block_out = out + first;
        for (std::size_t i = 0; i < size; ++i) {
            const Chroma<T> chroma = chroma_of(a1, b1, block_a[i], block_b[i]);
            stretch[i] = chroma.stretch, C1[i] = chroma.C1, C2[i] = chroma.C2;
        }
        for (std::size_t i = 0; i < size; ++i) {
            const Hue<T> hue = hue_of(a1, b1, block_a[i], block_b[i], {stretch[i], C1[i], C2[i]});
            numerator[i] = hue.numerator, denominator[i] = hue.denominator, c[i] = hue.c, s[i] = hue.s,
            z[i] = hue.z;
        }
        for (std::size_t i = 0; i < size; ++i) z[i] = rotation_sine(z[i]);
        for (std::size_t i = 0; i < size; ++i)
            block_out[i] = total_of(terms_of(L1, block_L[i], Chroma<T>{stretch[i], C1[i], C2[i]},
                                             Hue<T>{numerator[i], denominator[i], c[i], s[i], z[i]}, z[i],
                                             one, one, one));
    }
}
BINDHUE_VECTOR_CLONES
void batch_double(const Vector3& reference, const double* L, const double* a, const double* b, double* out,
                  std::size_t count) {
    batch<double>(reference, L, a, b, out, count);
}
BINDHUE_VECTOR_CLONES
void batch_float(const Vector3& reference, const float* L, const float* a, const float* b, float* out,
                 std::size_t count) {
    batch<float>(reference, L, a, b, out, count);
}

}  // namespace

namespace detail {

double ciede2000(const Vector3& reference, const Vector3& sample, const DifferenceWeights& weights) {
    return total_of(scalar_terms(reference, sample, weights));
}

DifferenceTerms ciede2000_terms(const Vector3& reference, const Vector3& sample,
                                const DifferenceWeights& weights) {
    const Terms<double> t = scalar_terms(reference, sample, weights);
    return {t.L, t.C, t.H, t.rotation, total_of(t)};
}

DifferenceGradient ciede2000_gradient(const Vector3& reference, const Vector3& sample,
                                      const DifferenceWeights& weights) {
    const auto variable = [](double value, std::size_t i) {
        Dual x(value);
        x.d[i] = 1;
        return x;
    };
    const Dual total =
        total_of(all_terms<Dual>(variable(reference[0], 0), variable(reference[1], 1),
                                 variable(reference[2], 2), variable(sample[0], 3), variable(sample[1], 4),
                                 variable(sample[2], 5), weights.kL, weights.kC, weights.kH));
    return {total.v, {total.d[0], total.d[1], total.d[2]}, {total.d[3], total.d[4], total.d[5]}};
}

}  // namespace detail

void ciede2000_batch(const Vector3& reference, std::span<const double> L, std::span<const double> a,
                     std::span<const double> b, std::span<double> out) {
    batch_double(reference, L.data(), a.data(), b.data(), out.data(),
                 std::min({L.size(), a.size(), b.size(), out.size()}));
}

void ciede2000_batch(const Vector3& reference, std::span<const float> L, std::span<const float> a,
                     std::span<const float> b, std::span<float> out) {
    batch_float(reference, L.data(), a.data(), b.data(), out.data(),
                std::min({L.size(), a.size(), b.size(), out.size()}));
}

}  // namespace bindhue
