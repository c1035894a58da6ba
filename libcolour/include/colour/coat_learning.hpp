// What a shop's own coat tests teach about the shift from dry to finished.
//
// The physical parameters of colour/coating.hpp at their most probable values under the prior (Gauss-Newton; the tests' residuals counted by Student's
// t, so that a blotchy coat does not rule), all kinds of coat at once: what one material, schedule or finish product shows moves the others, as far
// as they are thought to be alike. So a new material borrows from those that were tested, and a new product from the shop's others. How the number of coats, a thin or
// high build and the size of thread move the parameters is learned over all kinds. On top lies a residual in CIELAB, a Gaussian process over the dry
// colour and the ground: it bends the look near tests of this material and schedule and fades to nothing away from them. The covariance is Laplace's,
// what spools of one material differ by, the residual's, and the scatter that is left. Metallic is not learned: it keeps its colour.
#pragma once

#include <array>
#include <span>
#include <string>
#include <vector>

#include "colour/coating.hpp"

namespace bindhue {

enum class Build { unsaid, thin, high };
inline constexpr std::array all_builds{Build::unsaid, Build::thin, Build::high};
std::string_view name(Build build);  // "", "thin", "high"
// Error: bad_value, with the list of what is understood.
Result<Build> parse_build(std::string_view text);

// What was put on, where more than its schedule is known.
struct FinishUse {
    std::string product;  // as the shop calls it; empty: not said
    Build build = Build::unsaid;
    int coats = 0;  // brushed on in all, 1..max_coats; 0: not said

    bool operator==(const FinishUse&) const = default;
};
inline constexpr int max_coats = 20;

// One thread, wound in one layer over a ground and coated; all three colours as CIELAB, D50, 2-degree: dry as on the spool, the ground bare.
// Covariances of zero: not known; then what the readings err by is part of the scatter between tests.
struct CoatTest {
    Material material = Material::nylon;
    Schedule schedule = Schedule::finish;
    double size_mm = 0.15;
    Lab<D50> ground, dry, finished;
    Matrix3 ground_covariance{}, dry_covariance{}, finished_covariance{};
    FinishUse finish{};
};

// What the tests taught of one material, schedule and finish product.
struct CoatLesson {
    Material material = Material::nylon;
    Schedule schedule = Schedule::finish;
    std::string product;
    std::size_t tests = 0;
    CoatingParameters prior, learned;
    // Scattering, scattering ratio, absorption ratio, contact, haze: how far learned lies from the prior, and how sure that is, both in the prior's
    // standard deviations (1: as unsure as before; the tests say nothing of it).
    PriorDeviations moved_by{}, spread{};
    double scatter = 0;  // standard deviation that is left between tests and model, root mean square over L, a and b
};

class CoatModel {
  public:
    CoatModel() = default;  // nothing learned: the prior
    explicit CoatModel(std::span<const CoatTest> tests);

    // The same, for what will be put on. What is not said is the shop's usual: the product that most tests of the material and schedule were made with.
    CoatModel with(const FinishUse& finish) const;

    // How many tests this material and schedule have. None: predict() borrows from other kinds' tests and, where there are none, is predict_finished().
    std::size_t tests(Material material, Schedule schedule) const;

    // Kinds with tests, in the order of materials and schedules.
    std::vector<CoatLesson> lessons() const;

    // Tests that the others contradict (a blotchy coat, the wrong spool), as indices into what was given.
    const std::vector<std::size_t>& outliers() const { return outliers_; }

    // As predict_finished, with what was learned; a thread's own opacity counts beside what the tests say of its material. Errors: the same.
    Result<Reading> predict(Material material, Schedule schedule, double size_mm, const Reading& dry,
                            const Reading& ground, const std::optional<LayerOpacity>& opacity = {}) const;

    // The same in parts, for ranking many: precondition, size_mm and opacity in range.
    Lab<D50> predicted_look(Material material, Schedule schedule, double size_mm, const Surface& dry,
                            const Surface& ground, const std::optional<LayerOpacity>& opacity = {}) const;
    FinishedCovariance predicted_covariance(Material material, Schedule schedule, double size_mm,
                                            const Surface& dry, const Surface& ground,
                                            const std::optional<LayerOpacity>& opacity = {}) const;

  private:
    struct Group {
        Material material = Material::nylon;
        Schedule schedule = Schedule::finish;
        std::string product;
        std::size_t tests = 0;
    };
    // What is left in CIELAB near the tests of one material and schedule.
    struct Residual {
        std::vector<std::array<double, 6>> places;  // dry Lab and ground Lab, in the lengths over which the residual changes
        std::vector<Vector3> weights;
        std::vector<double> inverse;  // of the covariance of what is left at the places, as a share of the scatter
        Vector3 scatter{};            // variance of what the physical model leaves, on each axis

        std::vector<double> near(const Lab<D50>& dry, const Lab<D50>& ground) const;  // covariance with each place, as a share of the scatter
    };
    // Of one material and schedule, for the finish asked for: deviations and how they move with the logarithm of the size.
    struct Kind {
        std::size_t tests = 0;
        bool learned = false;
        PriorDeviations at{}, by_size{};
        std::array<PriorDeviations, coating_parameters> covariance{}, with_size{}, of_size{};
        Residual residual;
    };
    static constexpr std::size_t kind_count = all_materials.size() * all_schedules.size();
    static std::size_t index(Material material, Schedule schedule);
    CoatingBelief belief(Material material, Schedule schedule, double size_mm, const std::optional<LayerOpacity>& opacity) const;
    void look_ahead(const FinishUse& finish);

    std::vector<Group> groups_;
    std::vector<double> mean_, covariance_;  // of the groups' parameters and of what moves all of them
    std::array<Kind, kind_count> kinds_;
    std::vector<std::size_t> outliers_;
};

}  // namespace bindhue
