#include "media/media.hpp"

#include <dlfcn.h>

namespace bindhue::capture {

Result<const Media*> media() {
    static const auto loaded = []() -> Result<const Media*> {
        const auto missing = [] {
            const char* why = dlerror();
            return Error{Reason::not_found, std::string("the part of bindhue for cameras and picture files can't be loaded: ") + (why != nullptr ? why : "no reason given"), BINDHUE_MEDIA_FILE,
                         "install bindhue anew, whole (cmake --install), and its packages of OpenCV"};
        };
        void* library = dlopen(BINDHUE_MEDIA_FILE, RTLD_LAZY | RTLD_LOCAL);  // found by the program's run path
        if (library == nullptr) return missing();
        void* entry = dlsym(library, "bindhue_media");
        if (entry == nullptr) return missing();
        return reinterpret_cast<const Media* (*)()>(entry)();
    }();
    return loaded;
}

}  // namespace bindhue::capture
