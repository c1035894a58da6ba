#include <memory>

#include "cli/change_rack.hpp"
#include "cli/spool.hpp"
#include "shop/numbers.hpp"
#include "shop/spool_table.hpp"

namespace bindhue::capture::cli {
namespace {

struct ByHandCommand {
    ParticularsArguments particulars;
    std::string shop, code, lab, source, new_code;
    double uncertainty = unsaid_deviation;

    int add() const {
        const Result<SpoolParticulars> said = particulars.parsed();
        if (!said) return fail(said.error());
        const auto numbers = parse_numbers(lab, 3, "--lab");
        if (!numbers) return fail(numbers.error());
        Reading reading;
        reading.lab = Lab<D50>::from({(*numbers)[0], (*numbers)[1], (*numbers)[2]});
        const double variance = uncertainty * uncertainty;
        reading.covariance = Matrix3::diagonal({variance, variance, variance});
        if (const Status sound = validate(reading); !sound)
            return fail({sound.error().reason, sound.error().what, "--lab", sound.error().mend});
        return change_rack(shop, [&](SpoolFile& rack) -> Result<std::string> {
            if (rack.find(code) != nullptr)
                return Error{Reason::bad_value, "Spool " + code + " is in the rack already.", "",
                             "Another lot, material or size is another spool: give it another code. To correct it: bindhue spool edit. To read it "
                             "again: bindhue spool enrol."};
            Result<SpoolEntry> entry = new_spool(code, *said);
            if (!entry) return entry.error();
            entry->spool.readings.push_back(reading);
            entry->notes.push_back({source, today(), ""});
            rack.entries.push_back(std::move(*entry));
            return "spool " + code + " added";
        });
    }

    int edit() const {
        if (particulars.empty() && new_code.empty()) {
            std::cerr << "bindhue: spool edit wants something to change\n  what to do: see bindhue spool edit --help\n";
            return wrong_usage;
        }
        const Result<SpoolParticulars> said = particulars.parsed();
        if (!said) return fail(said.error());
        return change_rack(shop, [&](SpoolFile& rack) -> Result<std::string> {
            SpoolEntry* entry = rack.find(code);
            if (entry == nullptr) return Error{Reason::not_found, "No spool has the code \"" + code + "\".", "", "See bindhue spool list."};
            if (!new_code.empty() && new_code != code && rack.find(new_code) != nullptr)
                return Error{Reason::bad_value, "Spool " + new_code + " is in the rack already.", "--new-code", "Choose another code."};
            if (const Status changed = change(*entry, *said); !changed) return changed.error();
            if (!new_code.empty()) entry->spool.code = new_code;
            const std::size_t n = entry->spool.readings.size();
            return "spool " + entry->spool.code + " changed, its " + (n == 1 ? "reading" : std::to_string(n) + " readings") + " kept";
        });
    }
};

}  // namespace

void ParticularsArguments::add_to(CLI::App& command, const std::string& whose) {
    const auto help = [&](const std::string& what) { return what + (whose.empty() ? "" : " " + whose); };
    command.add_option("--name", name, help("Name of the colour"));
    command.add_option("--material", material, help(std::string("nylon, ncp-nylon, polyester, ncp-polyester, silk, metallic or monofilament") + (whose.empty() ? "" : ",")));
    command.add_option("--size", size, help("The label's size letter"));
    command.add_option("--size-mm", size_mm, help("Diameter of the thread in millimetres"));
    command.add_option("--lot", lot, help("Dye lot"));
    command.add_option("--metres", metres, help("Metres left on the spool"));
}

Result<SpoolParticulars> ParticularsArguments::parsed() const {
    SpoolParticulars out{name, size, lot, std::nullopt, size_mm, metres};
    if (!material) return out;
    const Result<Material> known = material_of(*material);
    if (!known) return known.error();
    out.material = *known;
    return out;
}

void add_spool_by_hand(CLI::App& spool, int& exit_code) {
    auto command = std::make_shared<ByHandCommand>();
    CLI::App* add = spool.add_subcommand("add", "A spool whose dry colour is known in numbers");
    add->add_option("code", command->code, "A code of its own")->required();
    add->add_option("--lab", command->lab, "L,a,b of the dry thread (CIELAB, D50, 2 degree, specular excluded)")->required();
    add->add_option("--uncertainty", command->uncertainty, "One standard deviation of each of L, a and b")
        ->check(CLI::Range(0.0, 100.0))
        ->capture_default_str();
    add->add_option("--source", command->source, "Where the numbers come from");
    command->particulars.add_to(*add, "");
    add_shop_option(*add, command->shop);
    add->footer(
        "Example: bindhue spool add N-7 --name Heather --material nylon --size A --size-mm 0.15 --lot 3 --lab 45.2,18,-12.5 --uncertainty 0.3");
    add->callback([command, &exit_code] { exit_code = command->add(); });

    CLI::App* edit = spool.add_subcommand("edit", "Correct what the rack says of a spool; its readings stay as they are");
    edit->add_option("code", command->code, "The spool's code")->required();
    edit->add_option("--new-code", command->new_code, "Call it so from now on");
    command->particulars.add_to(*edit, "");
    add_shop_option(*edit, command->shop);
    edit->footer("Example: bindhue spool edit N-7 --metres 42 --lot 3");
    edit->callback([command, &exit_code] { exit_code = command->edit(); });
}

}  // namespace bindhue::capture::cli
